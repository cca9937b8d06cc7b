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
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='Grant',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('sight', models.CharField(choices=[('small', 'Small pictures'), ('full', 'Full size')], default='small', max_length=5)),
                    ('purpose', models.CharField(max_length=240)),
                    ('since', models.DateTimeField(default=django.utils.timezone.now)),
                    ('until', models.DateTimeField(help_text='The first instant at which it no longer holds.')),
                    ('given_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('ended_at', models.DateTimeField(blank=True, null=True)),
                    ('ended_because', models.CharField(blank=True, max_length=400)),
                    ('ended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='grants_ended', to=settings.AUTH_USER_MODEL)),
                    ('given_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='grants_given', to=settings.AUTH_USER_MODEL)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='grants', to='collection.collectionobject')),
                    ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='grants', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('person', '-until', 'pk'),
                    'indexes': [models.Index(condition=models.Q(('ended_at', None)), fields=['person', 'object'], name='grant_in_force')],
                    'constraints': [models.CheckConstraint(condition=models.Q(('purpose', ''), _negated=True), name='grant_says_what_for'), models.CheckConstraint(condition=models.Q(('until__gt', models.F('since'))), name='grant_since_before_until'), models.CheckConstraint(condition=models.Q(models.Q(('ended_at', None), ('ended_because', ''), ('ended_by', None)), models.Q(('ended_at__isnull', False), ('ended_by__isnull', False), models.Q(('ended_because', ''), _negated=True)), _connector='OR'), name='ended_grant_says_who_and_why')],
                },
            ),
            migrations.CreateModel(
                name='Restriction',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('surface', models.CharField(blank=True, max_length=8)),
                    ('chain', models.UUIDField(blank=True, null=True)),
                    ('techniques', models.JSONField(blank=True, default=list)),
                    ('kind', models.CharField(choices=[('embargo', 'Embargo until a date'), ('consent', "Owner's consent missing"), ('copyright', 'Copyright not cleared'), ('security', 'Security'), ('attribution', 'Attribution unresolved'), ('personal_data', 'Personal data')], max_length=14)),
                    ('reason', models.CharField(max_length=400)),
                    ('since', models.DateTimeField(default=django.utils.timezone.now)),
                    ('until', models.DateTimeField(blank=True, null=True)),
                    ('set_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('lifted_at', models.DateTimeField(blank=True, null=True)),
                    ('lifted_because', models.CharField(blank=True, max_length=400)),
                    ('lifted_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='restrictions_lifted', to=settings.AUTH_USER_MODEL)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='restrictions', to='collection.collectionobject')),
                    ('set_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='restrictions_set', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('object', '-since', '-pk'),
                    'indexes': [models.Index(condition=models.Q(('lifted_at', None)), fields=['object'], name='restriction_in_force')],
                    'constraints': [models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='restriction_says_why'), models.CheckConstraint(condition=models.Q(('until', None), ('until__gt', models.F('since')), _connector='OR'), name='restriction_since_before_until'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'embargo'), _negated=True), ('until__isnull', False), _connector='OR'), name='embargo_has_an_end'), models.CheckConstraint(condition=models.Q(('chain', None), ('surface', ''), _connector='OR'), name='restriction_has_one_scope'), models.CheckConstraint(condition=models.Q(models.Q(('lifted_at', None), ('lifted_because', ''), ('lifted_by', None)), models.Q(('lifted_at__isnull', False), ('lifted_by__isnull', False), models.Q(('lifted_because', ''), _negated=True)), _connector='OR'), name='lifted_restriction_says_who_and_why')],
                },
            ),
        ]),
    ]
