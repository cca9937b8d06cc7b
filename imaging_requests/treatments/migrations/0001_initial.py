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
                name='Incident',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('kind', models.CharField(choices=[('water', 'Water'), ('impact', 'Impact'), ('transport', 'Transport'), ('climate', 'Climate')], max_length=10)),
                    ('occurred_at', models.DateTimeField()),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('note', models.TextField(blank=True)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='incidents', to='collection.collectionobject')),
                    ('recorded_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='incidents', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('object', 'occurred_at'),
                },
            ),
            migrations.CreateModel(
                name='Intervention',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('step', models.PositiveSmallIntegerField()),
                    ('phase', models.PositiveSmallIntegerField(default=1)),
                    ('type_row', models.PositiveSmallIntegerField()),
                    ('direction', models.CharField(blank=True, choices=[('on', 'put on'), ('off', 'taken off')], help_text='For steps that put something on or take it off.', max_length=4)),
                    ('face', models.CharField(choices=[('F', 'Front'), ('B', 'Back')], default='F', max_length=1)),
                    ('area_cm2', models.FloatField(blank=True, null=True)),
                    ('area_percent', models.FloatField(blank=True, null=True)),
                    ('label', models.CharField(blank=True, max_length=80)),
                    ('combined', models.BooleanField(default=False)),
                    ('state', models.CharField(choices=[('planned', 'Planned'), ('started', 'Started'), ('finished', 'Finished'), ('dropped', 'Dropped')], default='planned', max_length=10)),
                    ('planned_on', models.DateField(blank=True, null=True)),
                    ('exposure_until', models.DateTimeField(blank=True, help_text='Planned end of the time in which what this step uncovers can be seen.', null=True)),
                    ('started_at', models.DateTimeField(blank=True, null=True)),
                    ('finished_at', models.DateTimeField(blank=True, null=True)),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('materials', models.CharField(blank=True, max_length=240)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='interventions', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('treatment', 'step'),
                    'indexes': [models.Index(fields=['object', 'finished_at'], name='intervention_by_object'), models.Index(fields=['state', 'planned_on'], name='intervention_ahead')],
                    'constraints': [models.CheckConstraint(condition=models.Q(('finished_at', None), ('finished_at__gt', models.F('started_at')), _connector='OR'), name='intervention_starts_before_it_ends'), models.CheckConstraint(condition=models.Q(models.Q(('finished_at', None), ('started_at', None), ('state__in', ('planned', 'dropped'))), models.Q(('finished_at', None), ('started_at__isnull', False), ('state', 'started')), models.Q(('finished_at__isnull', False), ('started_at__isnull', False), ('state', 'finished')), _connector='OR'), name='intervention_state_fits_its_times'), models.CheckConstraint(condition=models.Q(('area_percent', None), models.Q(('area_percent__gt', 0), ('area_percent__lte', 100)), _connector='OR'), name='intervention_area_percent_in_range'), models.CheckConstraint(condition=models.Q(('area_cm2', None), ('area_cm2__gt', 0), _connector='OR'), name='intervention_area_cm2_positive')],
                },
            ),
            migrations.CreateModel(
                name='DecisionCase',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('chain', models.UUIDField()),
                    ('technique', models.CharField(max_length=4)),
                    ('face', models.CharField(max_length=1)),
                    ('variant', models.CharField(blank=True, max_length=20)),
                    ('proposal', models.CharField(choices=[('out_of_date', 'Out of date'), ('valid', 'Still valid')], max_length=12)),
                    ('reason', models.TextField()),
                    ('state', models.CharField(choices=[('open', 'Open'), ('closed', 'Closed'), ('dropped', 'No longer asked')], default='open', max_length=8)),
                    ('opened_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('assigned_to', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='decision_cases', to=settings.AUTH_USER_MODEL)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='decision_cases', to='collection.collectionobject')),
                    ('incident', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='decision_cases', to='treatments.incident')),
                    ('intervention', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='decision_cases', to='treatments.intervention')),
                ],
                options={
                    'ordering': ('state', 'opened_at', 'pk'),
                    'indexes': [models.Index(fields=['assigned_to', 'state', 'opened_at'], name='case_by_person')],
                    'constraints': [models.UniqueConstraint(fields=('chain', 'intervention'), name='one_case_per_chain_and_step'), models.UniqueConstraint(fields=('chain', 'incident'), name='one_case_per_chain_and_incident'), models.CheckConstraint(condition=models.Q(models.Q(('incident', None), ('intervention__isnull', False)), models.Q(('incident__isnull', False), ('intervention', None)), _connector='OR'), name='case_has_one_event')],
                },
            ),
            migrations.CreateModel(
                name='InterventionRecord',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('recorded_at', models.DateTimeField()),
                    ('state', models.CharField(choices=[('planned', 'Planned'), ('started', 'Started'), ('finished', 'Finished'), ('dropped', 'Dropped')], max_length=10)),
                    ('started_at', models.DateTimeField(blank=True, null=True)),
                    ('finished_at', models.DateTimeField(blank=True, null=True)),
                    ('reason', models.TextField(blank=True)),
                    ('intervention', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='records', to='treatments.intervention')),
                    ('recorded_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='intervention_records', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('intervention', 'recorded_at', 'pk'),
                },
            ),
            migrations.CreateModel(
                name='Treatment',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('code', models.CharField(max_length=20, unique=True)),
                    ('title', models.CharField(max_length=200)),
                    ('state', models.CharField(choices=[('planned', 'Planned'), ('under_way', 'Under way'), ('paused', 'Paused'), ('finished', 'Finished'), ('signed_off', 'Signed off'), ('dropped', 'Dropped')], default='planned', max_length=12)),
                    ('is_emergency', models.BooleanField(default=False)),
                    ('planned_from', models.DateField(blank=True, null=True)),
                    ('planned_to', models.DateField(blank=True, null=True)),
                    ('scope', models.JSONField(blank=True, default=list, help_text="Technique and face pairs that the treatment's documentation asks for.")),
                    ('counts_for_catalogue', models.BooleanField(default=True)),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('signed_off_at', models.DateTimeField(blank=True, null=True)),
                    ('conservator', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='treatments', to=settings.AUTH_USER_MODEL)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='treatments', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('object', 'planned_from', 'pk'),
                    'indexes': [models.Index(fields=['conservator', 'state', 'planned_from'], name='treatment_by_person')],
                    'constraints': [models.CheckConstraint(condition=models.Q(('planned_from', None), ('planned_to', None), ('planned_to__gte', models.F('planned_from')), _connector='OR'), name='treatment_planned_from_before_to')],
                },
            ),
        ]),
        migrations.AddField(
            model_name='intervention',
            name='treatment',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='interventions', to='treatments.treatment'),
        ),
        CreateModels([
            migrations.CreateModel(
                name='DecisionVerdict',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('verdict', models.CharField(choices=[('out_of_date', 'Out of date'), ('valid', 'Still valid'), ('reopened', 'Reopened')], max_length=12)),
                    ('reason', models.TextField()),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='decision_verdicts', to=settings.AUTH_USER_MODEL)),
                    ('case', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='verdicts', to='treatments.decisioncase')),
                ],
                options={
                    'ordering': ('case', 'recorded_at', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='decision_verdict_says_why')],
                },
            ),
            migrations.CreateModel(
                name='EmergencyOverride',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('reason', models.TextField()),
                    ('record_picture', models.CharField(blank=True, help_text='Where the picture made on the spot is kept; it never counts as a view.', max_length=240)),
                    ('lost_views', models.JSONField(default=list)),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('witnessed_at', models.DateTimeField(blank=True, null=True)),
                    ('conservator', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='emergencies', to=settings.AUTH_USER_MODEL)),
                    ('witness', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='witnessed_emergencies', to=settings.AUTH_USER_MODEL)),
                    ('intervention', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='override', to='treatments.intervention')),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('witness', None), models.Q(('witness', models.F('conservator')), _negated=True), _connector='OR'), name='emergency_names_two_people'), models.CheckConstraint(condition=models.Q(models.Q(('witness', None), ('witnessed_at', None)), models.Q(('witness__isnull', False), ('witnessed_at__isnull', False)), _connector='OR'), name='emergency_witness_has_an_instant'), models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='emergency_says_why')],
                },
            ),
        ]),
        migrations.AddConstraint(
            model_name='intervention',
            constraint=models.UniqueConstraint(fields=('treatment', 'step'), name='step_once_per_treatment'),
        ),
    ]
