import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

from imaging_requests.people.creating import CreateModels


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('collection', '0001_initial'),
        ('people', '__first__'),
        ('protocols', '0001_initial'),
        ('requesting', '0001_initial'),
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='SetupCard',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('code', models.CharField(max_length=40)),
                    ('version', models.PositiveSmallIntegerField()),
                    ('technique', models.CharField(max_length=2)),
                    ('values', models.JSONField(default=dict)),
                    ('note', models.TextField(blank=True)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                ],
                options={
                    'ordering': ('code', 'version'),
                    'constraints': [models.UniqueConstraint(fields=('code', 'version'), name='setup_card_version_once')],
                },
            ),
            migrations.CreateModel(
                name='Station',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('code', models.SlugField(max_length=20, unique=True)),
                    ('name', models.CharField(max_length=80)),
                    ('techniques', models.JSONField(default=list)),
                    ('cautions', models.JSONField(blank=True, default=list)),
                    ('is_active', models.BooleanField(default=True)),
                ],
                options={
                    'ordering': ('pk',),
                },
            ),
            migrations.CreateModel(
                name='Campaign',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('name', models.CharField(max_length=120, unique=True)),
                    ('goal', models.TextField(blank=True)),
                    ('starts_on', models.DateField()),
                    ('ends_on', models.DateField()),
                    ('protocol', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='campaigns', to='protocols.protocolversion')),
                ],
                options={
                    'ordering': ('-starts_on', 'name'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('ends_on__gte', models.F('starts_on'))), name='campaign_starts_before_it_ends')],
                },
            ),
            migrations.CreateModel(
                name='Equipment',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('kind', models.CharField(max_length=20)),
                    ('name', models.CharField(max_length=120)),
                    ('serial', models.CharField(max_length=60)),
                    ('in_use_from', models.DateField(blank=True, null=True)),
                    ('in_use_to', models.DateField(blank=True, null=True)),
                ],
                options={
                    'ordering': ('kind', 'name'),
                    'constraints': [models.UniqueConstraint(fields=('kind', 'serial'), name='equipment_serial_once')],
                },
            ),
            migrations.CreateModel(
                name='LightDose',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('received_on', models.DateField()),
                    ('lxh', models.FloatField(verbose_name='lux hours')),
                    ('note', models.CharField(max_length=240)),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='light_doses', to='collection.collectionobject')),
                    ('recorded_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='light_doses', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('object', 'received_on', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('lxh__gt', 0)), name='light_dose_positive'), models.CheckConstraint(condition=models.Q(('note', ''), _negated=True), name='light_dose_says_whence')],
                },
            ),
            migrations.CreateModel(
                name='Resource',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('kind', models.CharField(choices=[('station', 'Station'), ('person', 'Person'), ('object', 'Object'), ('rental', 'Rental unit')], max_length=10)),
                    ('name', models.CharField(max_length=160)),
                    ('object', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='resource', to='collection.collectionobject')),
                    ('person', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='resource', to=settings.AUTH_USER_MODEL)),
                    ('station', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='resource', to='campaigns.station')),
                ],
                options={
                    'ordering': ('kind', 'name'),
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('kind', 'station'), ('object', None), ('person', None), ('station__isnull', False)), models.Q(('kind', 'person'), ('object', None), ('person__isnull', False), ('station', None)), models.Q(('kind', 'object'), ('object__isnull', False), ('person', None), ('station', None)), models.Q(('kind', 'rental'), ('object', None), ('person', None), ('station', None)), _connector='OR'), name='resource_is_one_thing')],
                },
            ),
            migrations.CreateModel(
                name='Session',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('starts_at', models.DateTimeField(verbose_name='start')),
                    ('ends_at', models.DateTimeField(verbose_name='end')),
                    ('zone', models.CharField(max_length=40)),
                    ('state', models.CharField(choices=[('draft', 'Draft'), ('confirmed', 'Confirmed'), ('running', 'Running'), ('closed', 'Closed'), ('cancelled', 'Cancelled')], default='draft', max_length=10)),
                    ('confirmed_at', models.DateTimeField(blank=True, null=True)),
                    ('closed_at', models.DateTimeField(blank=True, null=True)),
                    ('cancelled_at', models.DateTimeField(blank=True, null=True)),
                    ('clock_offset_s', models.FloatField(default=0, help_text="Seconds to add to the camera's clock to get the studio's.")),
                    ('handlers', models.PositiveSmallIntegerField(default=0, help_text='People without an account who come to place and turn the objects.', verbose_name='art handlers promised')),
                    ('note', models.TextField(blank=True)),
                    ('campaign', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sessions', to='campaigns.campaign')),
                    ('photographer', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sessions', to=settings.AUTH_USER_MODEL)),
                    ('station', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sessions', to='campaigns.station')),
                ],
                options={
                    'ordering': ('starts_at', 'pk'),
                    'indexes': [models.Index(fields=['state', 'starts_at'], name='session_by_time')],
                    'constraints': [models.CheckConstraint(condition=models.Q(('ends_at__gt', models.F('starts_at'))), name='session_starts_before_it_ends')],
                },
            ),
            migrations.CreateModel(
                name='Booking',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('starts_at', models.DateTimeField()),
                    ('ends_at', models.DateTimeField()),
                    ('released_at', models.DateTimeField(blank=True, null=True)),
                    ('resource', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='bookings', to='campaigns.resource')),
                    ('session', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='bookings', to='campaigns.session')),
                ],
                options={
                    'ordering': ('resource', 'starts_at'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('ends_at__gt', models.F('starts_at'))), name='booking_starts_before_it_ends'), models.UniqueConstraint(condition=models.Q(('released_at', None)), fields=('resource', 'session'), name='resource_once_per_session')],
                },
            ),
            migrations.CreateModel(
                name='SessionSignature',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('check_code', models.CharField(max_length=20)),
                    ('face', models.CharField(blank=True, max_length=1)),
                    ('amount', models.FloatField(help_text='The amount that was signed for; more asks again.')),
                    ('as_role', models.CharField(max_length=20)),
                    ('signed_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('reason', models.TextField()),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='session_signatures', to='collection.collectionobject')),
                    ('session', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='signatures', to='campaigns.session')),
                    ('signed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='session_signatures', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('session', 'signed_at', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='session_signature_says_why')],
                },
            ),
            migrations.CreateModel(
                name='ShotLine',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('position', models.PositiveSmallIntegerField()),
                    ('face', models.CharField(max_length=1)),
                    ('surface', models.CharField(max_length=8)),
                    ('technique', models.CharField(max_length=2)),
                    ('variant', models.CharField(blank=True, max_length=24)),
                    ('detail_mm', models.JSONField(blank=True, null=True)),
                    ('px_per_mm', models.FloatField()),
                    ('tiles_across', models.PositiveSmallIntegerField()),
                    ('tiles_down', models.PositiveSmallIntegerField()),
                    ('exposures_ev', models.JSONField(default=list)),
                    ('focus_slices', models.PositiveSmallIntegerField(default=1)),
                    ('minutes', models.FloatField()),
                    ('light_lxh', models.FloatField(default=0)),
                    ('uv_minutes', models.FloatField(default=0)),
                    ('people', models.PositiveSmallIntegerField(default=1)),
                    ('expected_files', models.PositiveIntegerField()),
                    ('cautions', models.JSONField(default=list)),
                    ('state', models.CharField(choices=[('planned', 'To shoot'), ('done', 'Done'), ('not_done', 'Not done')], default='planned', max_length=10)),
                    ('decided_at', models.DateTimeField(blank=True, null=True)),
                    ('reason', models.TextField(blank=True)),
                    ('kept_because', models.TextField(blank=True, help_text='Why the line is shot although nobody asks for it any more.')),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shot_lines', to='collection.collectionobject')),
                    ('owed_views', models.ManyToManyField(blank=True, related_name='shot_lines', to='requesting.owedview')),
                    ('session', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shot_lines', to='campaigns.session')),
                    ('setup_card', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='shot_lines', to='campaigns.setupcard')),
                ],
                options={
                    'ordering': ('session', 'position'),
                    'constraints': [models.UniqueConstraint(fields=('session', 'position'), name='shot_line_position_once'), models.CheckConstraint(condition=models.Q(('expected_files__gte', 1), ('tiles_across__gte', 1), ('tiles_down__gte', 1)), name='shot_line_counts_positive'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'not_done'), _negated=True), models.Q(('reason', ''), _negated=True), _connector='OR'), name='not_done_says_why')],
                },
            ),
        ]),
        migrations.AddField(
            model_name='setupcard',
            name='station',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='setup_cards', to='campaigns.station'),
        ),
    ]
