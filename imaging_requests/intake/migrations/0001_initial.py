import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from imaging_requests.people.creating import CreateModels


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('campaigns', '0001_initial'),
        ('people', '__first__'),
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='Drop',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('number', models.CharField(max_length=20, unique=True)),
                    ('clock_offset_s', models.FloatField(blank=True, help_text="Seconds to add to the camera's clock; empty takes the session's value.", null=True, verbose_name="correction of the camera's clock")),
                    ('state', models.CharField(choices=[('open', 'Open'), ('closed', 'Closed')], default='open', max_length=8)),
                    ('opened_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('closed_at', models.DateTimeField(blank=True, null=True)),
                    ('settled_at', models.DateTimeField(blank=True, help_text='When all that had arrived was read and laid out; earlier places are for now.', null=True)),
                    ('note', models.TextField(blank=True)),
                    ('brought_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='drops', to=settings.AUTH_USER_MODEL)),
                    ('session', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='drops', to='campaigns.session')),
                    ('shot_line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='drops', to='campaigns.shotline')),
                ],
                options={
                    'ordering': ('-opened_at', '-pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('shot_line', None), ('session__isnull', False), _connector='OR'), name='drop_for_a_line_names_its_session'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'closed'), _negated=True), ('closed_at__isnull', False), _connector='OR'), name='closed_drop_says_when')],
                },
            ),
            migrations.CreateModel(
                name='CameraClock',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('body_serial', models.CharField(blank=True, max_length=60)),
                    ('offset_s', models.FloatField(help_text="Seconds to add to the camera's clock.")),
                    ('source', models.CharField(choices=[('slate', 'Photographed slate'), ('estimate', 'Estimated')], max_length=8)),
                    ('state', models.CharField(choices=[('in_force', 'In force'), ('proposed', 'Proposed'), ('declined', 'Declined')], max_length=8)),
                    ('because', models.TextField()),
                    ('found_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('decided_at', models.DateTimeField(blank=True, null=True)),
                    ('decided_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='decided_clocks', to=settings.AUTH_USER_MODEL)),
                    ('drop', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='clocks', to='intake.drop')),
                ],
                options={
                    'ordering': ('drop', 'body_serial'),
                    'constraints': [models.UniqueConstraint(fields=('drop', 'body_serial'), name='one_clock_per_camera_and_drop'), models.CheckConstraint(condition=models.Q(models.Q(('source', 'estimate'), _negated=True), models.Q(('state', 'in_force'), _negated=True), ('decided_by__isnull', False), _connector='OR'), name='estimated_clock_is_agreed_to')],
                },
            ),
            migrations.CreateModel(
                name='Frame',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('sha256', models.CharField(max_length=64, unique=True)),
                    ('size_bytes', models.BigIntegerField()),
                    ('first_name', models.CharField(max_length=255)),
                    ('extension', models.CharField(max_length=8)),
                    ('state', models.CharField(choices=[('received', 'Received'), ('waiting', 'On the sorting table'), ('placed', 'Placed'), ('set_aside', 'Set aside as spare')], default='received', max_length=10)),
                    ('role', models.CharField(choices=[('view', 'View'), ('flat', 'Flat field'), ('dark', 'Dark'), ('ambient', 'Ambient light'), ('target', 'Target'), ('slate', 'Clock slate')], default='view', max_length=8)),
                    ('tile_x', models.PositiveSmallIntegerField(default=0)),
                    ('tile_y', models.PositiveSmallIntegerField(default=0)),
                    ('ev', models.FloatField(default=0)),
                    ('focus_slice', models.PositiveSmallIntegerField(default=0)),
                    ('wall_clock', models.CharField(blank=True, max_length=40)),
                    ('captured_at', models.DateTimeField(blank=True, null=True)),
                    ('format', models.CharField(blank=True, max_length=12)),
                    ('width_px', models.PositiveIntegerField(blank=True, null=True)),
                    ('height_px', models.PositiveIntegerField(blank=True, null=True)),
                    ('bands', models.PositiveSmallIntegerField(blank=True, null=True)),
                    ('bits', models.PositiveSmallIntegerField(blank=True, null=True)),
                    ('profile', models.CharField(blank=True, max_length=160)),
                    ('structure', models.JSONField(default=dict)),
                    ('waiting_because', models.TextField(blank=True)),
                    ('waiting_reason', models.CharField(blank=True, help_text='The kind of reason, for choosing among many.', max_length=16)),
                    ('proposal', models.JSONField(blank=True, default=list, help_text='Places that could be right, best first, each with its reason.')),
                    ('received_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('read_at', models.DateTimeField(blank=True, help_text='When its pixels were read, or found not to be readable.', null=True)),
                    ('placed_at', models.DateTimeField(blank=True, null=True)),
                    ('placed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='placed_frames', to=settings.AUTH_USER_MODEL)),
                    ('shot_line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='frames', to='campaigns.shotline')),
                ],
                options={
                    'ordering': ('pk',),
                    'indexes': [models.Index(fields=['shot_line', 'tile_x', 'tile_y', 'ev'], name='frame_by_line'), models.Index(fields=['state', 'received_at'], name='frame_by_state')],
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('state', 'placed'), _negated=True), ('shot_line__isnull', False), _connector='OR'), name='placed_frame_has_a_shot_line'), models.CheckConstraint(condition=models.Q(('size_bytes__gt', 0)), name='frame_is_not_empty'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'waiting'), _negated=True), models.Q(('waiting_because', ''), _negated=True), _connector='OR'), name='waiting_frame_says_why'), models.UniqueConstraint(condition=models.Q(('role', 'view'), ('state', 'placed')), fields=('shot_line', 'tile_x', 'tile_y', 'ev', 'focus_slice'), name='one_placed_view_per_place')],
                },
            ),
            migrations.CreateModel(
                name='FileCheck',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('rule', models.CharField(max_length=20)),
                    ('rule_version', models.PositiveSmallIntegerField()),
                    ('value', models.CharField(blank=True, max_length=120)),
                    ('unit', models.CharField(blank=True, max_length=60)),
                    ('limit', models.CharField(blank=True, max_length=240)),
                    ('verdict', models.CharField(choices=[('pass', 'Pass'), ('warn', 'Warning'), ('fail', 'Fail'), ('cannot_tell', 'Cannot tell')], max_length=12)),
                    ('sentence', models.TextField()),
                    ('place_px', models.JSONField(blank=True, help_text='Left, top, width, height in px of the frame; nothing for the whole of it.', null=True)),
                    ('checked_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('frame', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='checks', to='intake.frame')),
                ],
                options={
                    'ordering': ('frame', 'rule'),
                    'constraints': [models.UniqueConstraint(fields=('frame', 'rule', 'rule_version'), name='file_check_once')],
                },
            ),
            migrations.CreateModel(
                name='Derivative',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('kind', models.CharField(max_length=16)),
                    ('recipe', models.CharField(max_length=64)),
                    ('path', models.CharField(max_length=200)),
                    ('width_px', models.PositiveIntegerField()),
                    ('height_px', models.PositiveIntegerField()),
                    ('tone_stretched', models.BooleanField(default=False)),
                    ('made_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('frame', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='derivatives', to='intake.frame')),
                ],
                options={
                    'ordering': ('frame', 'kind'),
                    'constraints': [models.UniqueConstraint(fields=('frame', 'kind', 'recipe'), name='derivative_once')],
                },
            ),
            migrations.CreateModel(
                name='Copy',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('place', models.CharField(max_length=20)),
                    ('written_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('verified_at', models.DateTimeField(blank=True, null=True)),
                    ('is_good', models.BooleanField(default=False)),
                    ('frame', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='copies', to='intake.frame')),
                ],
                options={
                    'ordering': ('frame', 'place'),
                    'constraints': [models.UniqueConstraint(fields=('frame', 'place'), name='one_copy_per_place')],
                },
            ),
            migrations.CreateModel(
                name='Arrival',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('token', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                    ('name', models.CharField(max_length=255)),
                    ('size_bytes', models.BigIntegerField()),
                    ('offset_bytes', models.BigIntegerField(default=0)),
                    ('state', models.CharField(choices=[('arriving', 'Arriving'), ('received', 'Received'), ('checked', 'Checked'), ('already_here', 'Already here'), ('refused', 'Refused'), ('given_up', 'Given up')], default='arriving', max_length=12)),
                    ('answer', models.TextField(blank=True)),
                    ('stretches', models.JSONField(blank=True, default=list, help_text='End and SHA-256 of each stretch, taken while its bytes came in.')),
                    ('writer', models.UUIDField(blank=True, help_text='Who is writing now; a newcomer takes over.', null=True)),
                    ('refused_kept', models.BooleanField(default=False, help_text='The bytes of a refused file are kept for a person.')),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('touched_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('drop', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='arrivals', to='intake.drop')),
                    ('frame', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='arrivals', to='intake.frame')),
                ],
                options={
                    'ordering': ('drop', 'pk'),
                    'indexes': [models.Index(fields=['drop', 'state'], name='arrival_by_state')],
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('state__in', ('checked', 'already_here')), _negated=True), ('frame__isnull', False), _connector='OR'), name='answered_arrival_names_its_frame'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'refused'), _negated=True), models.Q(('answer', ''), _negated=True), _connector='OR'), name='refused_arrival_says_why'), models.CheckConstraint(condition=models.Q(('offset_bytes__gte', 0), ('offset_bytes__lte', models.F('size_bytes'))), name='arrival_offset_within_size')],
                },
            ),
            migrations.CreateModel(
                name='FrameLook',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('slate', models.CharField(blank=True, help_text="The text in the slate's code, if one was found.", max_length=120)),
                    ('pattern', models.TextField(blank=True)),
                    ('looked_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('frame', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='look', to='intake.frame')),
                ],
                options={
                    'ordering': ('frame',),
                },
            ),
            migrations.CreateModel(
                name='Job',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('kind', models.CharField(max_length=30)),
                    ('key', models.CharField(max_length=160, unique=True)),
                    ('subject_id', models.BigIntegerField()),
                    ('queue', models.CharField(max_length=10)),
                    ('state', models.CharField(choices=[('due', 'Due'), ('claimed', 'Being worked on'), ('done', 'Done'), ('failed', 'Failed for good')], default='due', max_length=8)),
                    ('tries', models.PositiveSmallIntegerField(default=0)),
                    ('asked', models.PositiveIntegerField(default=1, help_text='How often the work was asked for; a claim serves what it saw.')),
                    ('serving', models.PositiveIntegerField(default=0)),
                    ('woken_at', models.DateTimeField(blank=True, null=True)),
                    ('due_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('claim', models.UUIDField(blank=True, null=True)),
                    ('claimed_until', models.DateTimeField(blank=True, null=True)),
                    ('worker', models.CharField(blank=True, max_length=80)),
                    ('last_error', models.TextField(blank=True)),
                    ('result', models.JSONField(default=dict)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('ended_at', models.DateTimeField(blank=True, null=True)),
                ],
                options={
                    'ordering': ('due_at', 'pk'),
                    'indexes': [models.Index(fields=['state', 'queue', 'due_at'], name='job_due')],
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('state', 'claimed'), _negated=True), models.Q(('claim__isnull', False), ('claimed_until__isnull', False)), _connector='OR'), name='claimed_job_has_a_lease')],
                },
            ),
            migrations.CreateModel(
                name='SortingStep',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('done_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('act', models.CharField(choices=[('placed', 'placed'), ('set_aside', 'set aside as spares')], max_length=10)),
                    ('frames', models.JSONField(help_text='Each frame with the row version that the step left, and why it waited.')),
                    ('undone_at', models.DateTimeField(blank=True, null=True)),
                    ('done_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sorting_steps', to=settings.AUTH_USER_MODEL)),
                    ('undone_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='undone_sorting_steps', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('-done_at', '-pk'),
                },
            ),
        ]),
    ]
