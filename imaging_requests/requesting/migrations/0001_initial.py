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
        ('treatments', '0001_initial'),
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='OwedView',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('face', models.CharField(choices=[('F', 'Front'), ('B', 'Back'), ('E', 'Edges'), ('T', 'Through')], max_length=1)),
                    ('surface', models.CharField(max_length=8)),
                    ('technique', models.CharField(choices=[('VF', 'Visible, flash'), ('VC', 'Visible, continuous light'), ('RK', 'Raking light'), ('UV', 'UV fluorescence'), ('IR', 'Infrared'), ('XR', 'X-ray')], max_length=2)),
                    ('variant', models.CharField(blank=True, help_text='Raking direction, or the name of a detail.', max_length=24)),
                    ('anchor', models.CharField(choices=[('CUR', 'Now'), ('BT', 'Before treatment'), ('DT', 'During treatment'), ('AT', 'After treatment'), ('WIN', 'While visible'), ('FIX', 'As of an instant')], default='CUR', max_length=3)),
                    ('anchor_phase', models.PositiveSmallIntegerField(blank=True, null=True)),
                    ('anchor_step', models.PositiveSmallIntegerField(blank=True, null=True)),
                    ('anchor_at', models.DateTimeField(blank=True, null=True)),
                    ('anchor_key', models.CharField(help_text='Anchor, treatment, step and instant in one text, so that a duty exists once.', max_length=48)),
                    ('detail_mm', models.JSONField(blank=True, null=True)),
                    ('px_per_mm', models.FloatField()),
                    ('tolerance_percent', models.FloatField()),
                    ('min_coverage_percent', models.FloatField()),
                    ('spec', models.JSONField(default=dict)),
                    ('due_on', models.DateField(blank=True, null=True)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('ended_at', models.DateTimeField(blank=True, null=True)),
                    ('end_reason', models.CharField(blank=True, max_length=160)),
                    ('replaced_at', models.DateTimeField(blank=True, null=True)),
                    ('anchor_event', models.ForeignKey(blank=True, help_text='The step that opened the interval in which the surface can be seen.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='opened_windows', to='treatments.intervention')),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='owed_views', to='collection.collectionobject')),
                    ('replaced_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='replaces', to='requesting.owedview')),
                    ('treatment', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='owed_views', to='treatments.treatment')),
                ],
                options={
                    'ordering': ('object', 'pk'),
                    'indexes': [models.Index(fields=['object', 'ended_at'], name='owed_view_by_object')],
                    'constraints': [models.UniqueConstraint(condition=models.Q(('ended_at', None)), fields=('object', 'surface', 'technique', 'variant', 'anchor_key'), name='owed_view_once_in_force'), models.CheckConstraint(condition=models.Q(models.Q(('anchor__in', ('CUR',)), ('treatment', None)), models.Q(('anchor__in', ('BT', 'DT', 'AT')), ('treatment__isnull', False)), ('anchor', 'WIN'), models.Q(('anchor', 'FIX'), ('anchor_at__isnull', False)), _connector='OR'), name='owed_view_anchor_complete'), models.CheckConstraint(condition=models.Q(('px_per_mm__gt', 0)), name='owed_view_density_positive'), models.CheckConstraint(condition=models.Q(('replaced_by', None), models.Q(('replaced_by', models.F('pk')), _negated=True), _connector='OR'), name='owed_view_not_replaced_by_itself')],
                },
            ),
            migrations.CreateModel(
                name='Request',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('number', models.CharField(max_length=20, unique=True)),
                    ('purpose', models.CharField(choices=[('text', 'Catalogue text'), ('figure', 'Print figure'), ('loan', 'Loan'), ('treatment', 'Treatment'), ('research', 'Research')], max_length=12)),
                    ('why', models.TextField()),
                    ('wanted_by', models.DateField(blank=True, null=True)),
                    ('counts_for_catalogue', models.BooleanField(default=False)),
                    ('use_rights', models.CharField(blank=True, max_length=160)),
                    ('filed_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('requester', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='requests', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('-filed_at', '-pk'),
                },
            ),
            migrations.CreateModel(
                name='RequestLine',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('face', models.CharField(choices=[('F', 'Front'), ('B', 'Back'), ('E', 'Edges'), ('T', 'Through')], max_length=1)),
                    ('technique', models.CharField(choices=[('VF', 'Visible, flash'), ('VC', 'Visible, continuous light'), ('RK', 'Raking light'), ('UV', 'UV fluorescence'), ('IR', 'Infrared'), ('XR', 'X-ray')], max_length=2)),
                    ('variant', models.CharField(blank=True, max_length=24)),
                    ('detail_mm', models.JSONField(blank=True, null=True)),
                    ('px_per_mm', models.FloatField(blank=True, null=True)),
                    ('state', models.CharField(choices=[('submitted', 'Waiting for the lead'), ('agreed', 'Agreed'), ('declined', 'Declined'), ('fulfilled', 'Fulfilled'), ('withdrawn', 'Withdrawn')], default='submitted', max_length=10)),
                    ('decided_at', models.DateTimeField(blank=True, null=True)),
                    ('insists_because', models.TextField(blank=True, help_text='Why the view is wanted although it is here or not applicable.')),
                    ('reason', models.TextField(blank=True)),
                    ('promised_on', models.DateField(blank=True, null=True)),
                    ('fulfilled_at', models.DateTimeField(blank=True, null=True)),
                    ('decided_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='decided_lines', to=settings.AUTH_USER_MODEL)),
                    ('entry', models.ForeignKey(blank=True, help_text='The entry that was named instead of the object, if one was.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='request_lines', to='collection.entry')),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='request_lines', to='collection.collectionobject')),
                    ('request', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='requesting.request')),
                ],
                options={
                    'ordering': ('request', 'pk'),
                    'indexes': [models.Index(fields=['state', 'object'], name='line_by_state')],
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('fulfilled_at__isnull', False), ('state', 'fulfilled')), models.Q(models.Q(('state', 'fulfilled'), _negated=True), ('fulfilled_at', None)), _connector='OR'), name='fulfilled_line_has_an_instant'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'declined'), _negated=True), models.Q(('reason', ''), _negated=True), _connector='OR'), name='declined_line_says_why'), models.CheckConstraint(condition=models.Q(('px_per_mm', None), models.Q(('px_per_mm__gt', 0), ('px_per_mm__lte', 500)), _connector='OR'), name='line_density_in_range')],
                },
            ),
            migrations.CreateModel(
                name='Demand',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('source', models.CharField(choices=[('protocol', 'Protocol'), ('treatment', 'Treatment'), ('request', 'Request')], max_length=10)),
                    ('protocol_line', models.CharField(blank=True, max_length=40)),
                    ('since', models.DateTimeField(default=django.utils.timezone.now)),
                    ('until', models.DateTimeField(blank=True, null=True)),
                    ('entry', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='demands', to='collection.entry')),
                    ('treatment', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='demands', to='treatments.treatment')),
                    ('owed_view', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='demands', to='requesting.owedview')),
                    ('request_line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='demands', to='requesting.requestline')),
                ],
                options={
                    'ordering': ('owed_view', 'pk'),
                    'indexes': [models.Index(fields=['entry', 'until'], name='demand_by_entry')],
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('entry__isnull', False), ('request_line', None), ('source', 'protocol')), models.Q(('request_line', None), ('source', 'treatment'), ('treatment__isnull', False)), models.Q(('request_line__isnull', False), ('source', 'request')), _connector='OR'), name='demand_names_its_source'), models.UniqueConstraint(condition=models.Q(('source', 'protocol'), ('until', None)), fields=('owed_view', 'entry', 'protocol_line'), name='protocol_demand_once'), models.UniqueConstraint(condition=models.Q(('source', 'request'), ('until', None)), fields=('owed_view', 'request_line'), name='request_demand_once'), models.UniqueConstraint(condition=models.Q(('source', 'treatment'), ('until', None)), fields=('owed_view', 'treatment'), name='treatment_demand_once')],
                },
            ),
            migrations.CreateModel(
                name='Waiver',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('reason_code', models.CharField(choices=[('not_in_reach', 'The object or part is not in reach'), ('consent', 'The owner does not consent'), ('emergency', 'The treatment could not wait'), ('covered', 'The face is covered for good'), ('nothing_to_see', 'The picture would show nothing'), ('risk', 'Making it would endanger the object'), ('other', 'Another reason')], max_length=40)),
                    ('text', models.TextField()),
                    ('is_last_look', models.BooleanField(default=False)),
                    ('granted_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('lapses_at', models.DateTimeField(blank=True, null=True)),
                    ('ended_at', models.DateTimeField(blank=True, null=True)),
                    ('end_reason', models.CharField(blank=True, max_length=160)),
                    ('co_signed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='waivers_co_signed', to=settings.AUTH_USER_MODEL)),
                    ('granted_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='waivers_granted', to=settings.AUTH_USER_MODEL)),
                    ('owed_view', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='waivers', to='requesting.owedview')),
                ],
                options={
                    'ordering': ('owed_view', 'granted_at'),
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('text', ''), _negated=True), models.Q(('reason_code', ''), _negated=True)), name='waiver_says_why'), models.CheckConstraint(condition=models.Q(('is_last_look', False), models.Q(('co_signed_by__isnull', False), models.Q(('co_signed_by', models.F('granted_by')), _negated=True)), _connector='OR'), name='last_look_waiver_has_two_people'), models.UniqueConstraint(condition=models.Q(('ended_at', None)), fields=('owed_view',), name='one_waiver_in_force')],
                },
            ),
            migrations.CreateModel(
                name='WaiverProposal',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('reason_code', models.CharField(choices=[('not_in_reach', 'The object or part is not in reach'), ('consent', 'The owner does not consent'), ('emergency', 'The treatment could not wait'), ('covered', 'The face is covered for good'), ('nothing_to_see', 'The picture would show nothing'), ('risk', 'Making it would endanger the object'), ('other', 'Another reason')], max_length=40)),
                    ('text', models.TextField()),
                    ('is_last_look', models.BooleanField(default=False)),
                    ('lapses_at', models.DateTimeField(blank=True, null=True)),
                    ('asked_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('first_signed_at', models.DateTimeField(blank=True, null=True)),
                    ('state', models.CharField(choices=[('asked', 'Waiting for a signature'), ('granted', 'Granted'), ('refused', 'Refused')], default='asked', max_length=8)),
                    ('answered_at', models.DateTimeField(blank=True, null=True)),
                    ('answer', models.TextField(blank=True)),
                    ('answered_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='waivers_answered', to=settings.AUTH_USER_MODEL)),
                    ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='waivers_asked', to=settings.AUTH_USER_MODEL)),
                    ('first_signed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='waivers_first_signed', to=settings.AUTH_USER_MODEL)),
                    ('owed_view', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='waiver_proposals', to='requesting.owedview')),
                    ('waiver', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='proposal', to='requesting.waiver')),
                ],
                options={
                    'ordering': ('asked_at', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('text', ''), _negated=True), models.Q(('reason_code', ''), _negated=True)), name='proposed_waiver_says_why'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'granted'), ('waiver__isnull', False)), models.Q(models.Q(('state', 'granted'), _negated=True), ('waiver', None)), _connector='OR'), name='granted_proposal_names_its_waiver'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'refused'), _negated=True), models.Q(('answer', ''), _negated=True), _connector='OR'), name='refused_proposal_says_why'), models.UniqueConstraint(condition=models.Q(('state', 'asked')), fields=('owed_view',), name='one_open_proposal_per_view')],
                },
            ),
            migrations.CreateModel(
                name='GapStatement',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('view_ids', models.JSONField(default=list, help_text='The lost views that stay missing.')),
                    ('text', models.TextField()),
                    ('signed_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('ended_at', models.DateTimeField(blank=True, null=True)),
                    ('entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='gap_statements', to='collection.entry')),
                    ('signed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='gap_statements', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('entry', 'signed_at'),
                    'constraints': [models.UniqueConstraint(condition=models.Q(('ended_at', None)), fields=('entry',), name='one_gap_statement_in_force')],
                },
            ),
            migrations.CreateModel(
                name='NotApplicable',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('face', models.CharField(choices=[('F', 'Front'), ('B', 'Back'), ('E', 'Edges'), ('T', 'Through')], max_length=1)),
                    ('technique', models.CharField(choices=[('VF', 'Visible, flash'), ('VC', 'Visible, continuous light'), ('RK', 'Raking light'), ('UV', 'UV fluorescence'), ('IR', 'Infrared'), ('XR', 'X-ray')], max_length=2)),
                    ('variant', models.CharField(blank=True, max_length=24)),
                    ('rule', models.CharField(blank=True, max_length=60)),
                    ('reason', models.TextField()),
                    ('since', models.DateTimeField(default=django.utils.timezone.now)),
                    ('until', models.DateTimeField(blank=True, null=True)),
                    ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='not_applicable_decisions', to=settings.AUTH_USER_MODEL)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='not_applicable', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('object', 'pk'),
                    'constraints': [models.UniqueConstraint(condition=models.Q(('until', None)), fields=('object', 'face', 'technique', 'variant'), name='not_applicable_once'), models.CheckConstraint(condition=models.Q(models.Q(('reason', ''), _negated=True), models.Q(models.Q(('rule', ''), _negated=True), ('by__isnull', False), _connector='OR')), name='not_applicable_says_why')],
                },
            ),
        ]),
    ]
