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
        ('collection', '0001_initial'),
        ('intake', '0001_initial'),
        ('people', '__first__'),
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='Deliverable',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('chain', models.UUIDField(db_index=True, default=uuid.uuid4)),
                    ('version', models.PositiveSmallIntegerField(default=1)),
                    ('face', models.CharField(max_length=1)),
                    ('surface', models.CharField(max_length=8)),
                    ('technique', models.CharField(max_length=2)),
                    ('variant', models.CharField(blank=True, max_length=24)),
                    ('detail_mm', models.JSONField(blank=True, null=True)),
                    ('kind', models.CharField(choices=[('single', 'Single frame'), ('bracket', 'Bracket series'), ('mosaic', 'Joined mosaic'), ('bracket_mosaic', 'Bracket series of tiles')], max_length=14)),
                    ('state', models.CharField(choices=[('building', 'Building'), ('to_review', 'To review'), ('accepted', 'Accepted'), ('sent_back', 'Sent back'), ('recalled', 'Recalled')], default='building', max_length=10)),
                    ('captured_at', models.DateTimeField()),
                    ('px_per_mm', models.FloatField()),
                    ('coverage_percent', models.FloatField(default=100)),
                    ('is_complete', models.BooleanField(default=False)),
                    ('missing', models.JSONField(default=list)),
                    ('faults', models.JSONField(default=list, help_text='What the frames do not share although they should, in sentences.')),
                    ('polarity', models.CharField(blank=True, choices=[('positive', 'Dense parts dark'), ('negative', 'Dense parts bright, as on film'), ('unknown', 'Not stated')], max_length=10)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('handed_in_at', models.DateTimeField(blank=True, null=True)),
                    ('cover', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='covers', to='intake.frame')),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='deliverables', to='collection.collectionobject')),
                    ('photographer', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='deliverables', to=settings.AUTH_USER_MODEL)),
                    ('shot_line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='deliverables', to='campaigns.shotline')),
                ],
                options={
                    'ordering': ('object', 'technique', 'face', 'variant', '-captured_at', '-version'),
                    'indexes': [models.Index(fields=['object', 'state'], name='deliverable_by_object'), models.Index(fields=['state', 'handed_in_at'], name='deliverable_by_state'), models.Index(fields=['photographer', 'state', 'captured_at'], name='deliverable_by_person')],
                    'constraints': [models.UniqueConstraint(fields=('chain', 'version'), name='deliverable_version_once'), models.UniqueConstraint(condition=models.Q(('state', 'accepted')), fields=('chain',), name='one_accepted_version_per_chain'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'accepted'), _negated=True), ('is_complete', True), _connector='OR'), name='accepted_is_complete'), models.CheckConstraint(condition=models.Q(models.Q(('technique', 'XR'), _negated=True), ('polarity__in', ('positive', 'negative', 'unknown')), _connector='OR'), name='x_ray_states_its_polarity'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'accepted'), ('technique', 'XR'), _negated=True), ('polarity__in', ('positive', 'negative')), _connector='OR'), name='accepted_x_ray_polarity_is_known'), models.CheckConstraint(condition=models.Q(('kind__in', ('single', 'bracket', 'mosaic', 'bracket_mosaic'))), name='deliverable_is_made_of_masters'), models.CheckConstraint(condition=models.Q(('state', 'building'), ('handed_in_at__isnull', False), _connector='OR'), name='reviewed_deliverable_was_handed_in'), models.UniqueConstraint(condition=models.Q(('state', 'building')), fields=('shot_line',), name='one_building_version_per_line')],
                },
            ),
            migrations.CreateModel(
                name='Correction',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('kind', models.CharField(choices=[('words', 'The words about it'), ('reprocess', 'The same frames, processed again'), ('reshoot', 'Shot again'), ('wrong_target', 'It shows another object or face')], max_length=12)),
                    ('found_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('wrong_since', models.DateTimeField()),
                    ('why', models.TextField()),
                    ('says', models.TextField(blank=True, help_text='The right words, for a correction of words.')),
                    ('reach', models.JSONField(default=dict, help_text='Entries and packages that were touched when it was found.')),
                    ('closed_at', models.DateTimeField(blank=True, null=True)),
                    ('closed_words', models.TextField(blank=True)),
                    ('found_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='corrections_found', to=settings.AUTH_USER_MODEL)),
                    ('meant_object', models.ForeignKey(blank=True, help_text='The object that the picture really shows.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrections_meant', to='collection.collectionobject')),
                    ('deliverable', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='corrections', to='deliverables.deliverable')),
                    ('mended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='mends', to='deliverables.deliverable')),
                ],
                options={
                    'ordering': ('-found_at', '-pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('why', ''), _negated=True), name='correction_says_why'), models.CheckConstraint(condition=models.Q(('wrong_since__lte', models.F('found_at'))), name='correction_wrong_before_found'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'words'), _negated=True), models.Q(models.Q(('says', ''), _negated=True), ('closed_at__isnull', False)), _connector='OR'), name='correction_of_words_says_them'), models.CheckConstraint(condition=models.Q(('closed_at', None), ('closed_at__gte', models.F('found_at')), _connector='OR'), name='correction_closed_after_found'), models.UniqueConstraint(condition=models.Q(('closed_at', None)), fields=('deliverable',), name='one_open_correction_per_picture')],
                },
            ),
            migrations.CreateModel(
                name='Comparison',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('asked_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('verdict', models.CharField(choices=[('waiting', 'Being computed'), ('mapped', 'Change map'), ('side_by_side', 'Side by side only'), ('not_compared', 'Not compared')], default='waiting', max_length=12)),
                    ('grade', models.CharField(blank=True, max_length=1)),
                    ('sentence', models.TextField(blank=True)),
                    ('report', models.JSONField(default=dict)),
                    ('noise_floor', models.FloatField(help_text='What a map would call noise, if nothing was done in between.', null=True)),
                    ('recipe', models.CharField(blank=True, max_length=64)),
                    ('picture', models.CharField(blank=True, max_length=255)),
                    ('width_px', models.PositiveIntegerField(default=0)),
                    ('height_px', models.PositiveIntegerField(default=0)),
                    ('made_at', models.DateTimeField(null=True)),
                    ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='comparisons', to=settings.AUTH_USER_MODEL)),
                    ('after', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='compared_with_earlier', to='deliverables.deliverable')),
                    ('before', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='compared_with_later', to='deliverables.deliverable')),
                ],
                options={
                    'ordering': ('-asked_at', '-pk'),
                    'constraints': [models.UniqueConstraint(fields=('before', 'after'), name='comparison_once'), models.CheckConstraint(condition=models.Q(('before', models.F('after')), _negated=True), name='comparison_of_two'), models.CheckConstraint(condition=models.Q(('verdict', 'waiting'), models.Q(('made_at__isnull', False), models.Q(('sentence', ''), _negated=True)), _connector='OR'), name='comparison_says_something'), models.CheckConstraint(condition=models.Q(('verdict__in', ('waiting', 'not_compared')), models.Q(('picture', ''), _negated=True), _connector='OR'), name='comparison_has_its_picture')],
                },
            ),
            migrations.CreateModel(
                name='DeliverableFrame',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('tile_x', models.PositiveSmallIntegerField(default=0)),
                    ('tile_y', models.PositiveSmallIntegerField(default=0)),
                    ('ev', models.FloatField(default=0)),
                    ('focus_slice', models.PositiveSmallIntegerField(default=0)),
                    ('deliverable', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='deliverable_frames', to='deliverables.deliverable')),
                    ('frame', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='deliverable_frames', to='intake.frame')),
                ],
                options={
                    'ordering': ('deliverable', 'tile_y', 'tile_x', 'ev', 'focus_slice'),
                    'constraints': [models.UniqueConstraint(fields=('deliverable', 'tile_x', 'tile_y', 'ev', 'focus_slice'), name='one_frame_per_place'), models.UniqueConstraint(fields=('deliverable', 'frame'), name='frame_once_per_deliverable')],
                },
            ),
            migrations.CreateModel(
                name='Delivery',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('recipient', models.CharField(max_length=160)),
                    ('purpose', models.CharField(blank=True, max_length=160)),
                    ('handed_over_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('received_at', models.DateTimeField(blank=True, null=True)),
                    ('received_words', models.CharField(blank=True, max_length=200)),
                    ('handed_over_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='deliveries_made', to=settings.AUTH_USER_MODEL)),
                    ('user', models.ForeignKey(blank=True, help_text="The recipient's account, if there is one.", null=True, on_delete=django.db.models.deletion.PROTECT, related_name='deliveries', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('package', 'handed_over_at', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('recipient', ''), _negated=True), name='delivery_names_who'), models.CheckConstraint(condition=models.Q(('received_at', None), ('received_at__gte', models.F('handed_over_at')), _connector='OR'), name='received_after_handed_over')],
                },
            ),
            migrations.CreateModel(
                name='CorrectionNotice',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('told_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('confirmed_at', models.DateTimeField(blank=True, null=True)),
                    ('confirmed_words', models.CharField(blank=True, max_length=200)),
                    ('correction', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='notices', to='deliverables.correction')),
                    ('user', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='correction_notices', to=settings.AUTH_USER_MODEL)),
                    ('delivery', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrections', to='deliverables.delivery')),
                ],
                options={
                    'ordering': ('correction', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('delivery__isnull', False), ('user__isnull', False), _connector='OR'), name='correction_notice_names_who'), models.UniqueConstraint(condition=models.Q(('delivery__isnull', False)), fields=('correction', 'delivery'), name='delivery_told_once'), models.UniqueConstraint(condition=models.Q(('delivery__isnull', True)), fields=('correction', 'user'), name='person_told_once')],
                },
            ),
            migrations.CreateModel(
                name='LoneWorker',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('since', models.DateTimeField()),
                    ('until', models.DateTimeField()),
                    ('reason', models.TextField()),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('allowed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lone_stretches_allowed', to=settings.AUTH_USER_MODEL)),
                    ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lone_stretches', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('-since', '-pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('until__gt', models.F('since'))), name='lone_stretch_since_before_until'), models.CheckConstraint(condition=models.Q(('person', models.F('allowed_by')), _negated=True), name='lone_stretch_allowed_by_another'), models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='lone_stretch_says_why')],
                },
            ),
            migrations.CreateModel(
                name='Package',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('number', models.CharField(max_length=20, unique=True)),
                    ('purpose', models.CharField(max_length=160)),
                    ('state', models.CharField(choices=[('open', 'Open'), ('sealed', 'Sealed')], default='open', max_length=8)),
                    ('made_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('sealed_at', models.DateTimeField(blank=True, null=True)),
                    ('manifest', models.JSONField(default=dict)),
                    ('manifest_sha256', models.CharField(blank=True, max_length=64)),
                    ('entry', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='packages', to='collection.entry')),
                    ('made_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='packages', to=settings.AUTH_USER_MODEL)),
                    ('replaces', models.ForeignKey(blank=True, help_text='The package that this one puts right.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='replaced_by', to='deliverables.package')),
                ],
                options={
                    'ordering': ('-made_at', '-pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('state', 'open'), models.Q(('sealed_at__isnull', False), models.Q(('manifest_sha256', ''), _negated=True)), _connector='OR'), name='sealed_package_has_a_manifest')],
                },
            ),
        ]),
        migrations.AddField(
            model_name='delivery',
            name='package',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='deliveries', to='deliverables.package'),
        ),
        CreateModels([
            migrations.CreateModel(
                name='PackageItem',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('deliverable', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='package_items', to='deliverables.deliverable')),
                    ('package', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='items', to='deliverables.package')),
                ],
                options={
                    'ordering': ('package', 'pk'),
                    'constraints': [models.UniqueConstraint(fields=('package', 'deliverable'), name='deliverable_once_per_package')],
                },
            ),
            migrations.CreateModel(
                name='PlateMap',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('plates', models.JSONField(help_text='One {frame, column, row, quarters, mirrored} per tile; counted from 0.')),
                    ('note', models.TextField(verbose_name='why')),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plate_maps', to=settings.AUTH_USER_MODEL)),
                    ('deliverable', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plate_maps', to='deliverables.deliverable')),
                ],
                options={
                    'ordering': ('deliverable', '-recorded_at', '-pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('note', ''), _negated=True), name='plate_map_says_why')],
                },
            ),
            migrations.CreateModel(
                name='Join',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('recipe', models.CharField(max_length=64)),
                    ('ingredients', models.JSONField(default=dict)),
                    ('verdict', models.CharField(choices=[('joined', 'Joined'), ('uncertain', 'Uncertain'), ('not_joined', 'Not joined')], max_length=12)),
                    ('sentence', models.TextField(blank=True)),
                    ('report', models.JSONField(default=dict)),
                    ('sha256', models.CharField(blank=True, max_length=64)),
                    ('size_bytes', models.PositiveBigIntegerField(default=0)),
                    ('width_px', models.PositiveIntegerField(default=0)),
                    ('height_px', models.PositiveIntegerField(default=0)),
                    ('pictures', models.JSONField(default=list, help_text='Derived files: {kind, path, width_px, height_px}.')),
                    ('is_tone_stretched', models.BooleanField(default=False)),
                    ('made_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('deliverable', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='joins', to='deliverables.deliverable')),
                    ('plate_map', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='joins', to='deliverables.platemap')),
                ],
                options={
                    'ordering': ('deliverable', '-made_at', '-pk'),
                    'constraints': [models.UniqueConstraint(fields=('deliverable', 'recipe'), name='join_once'), models.CheckConstraint(condition=models.Q(models.Q(('sha256', ''), ('verdict', 'not_joined')), models.Q(('verdict__in', ('joined', 'uncertain')), models.Q(('sha256', ''), _negated=True)), _connector='OR'), name='join_has_its_file')],
                },
            ),
            migrations.CreateModel(
                name='Registration',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('means', models.CharField(blank=True, choices=[('outline', 'The outline of the face in the picture itself'), ('reference', 'The visible picture of the same face')], max_length=10)),
                    ('code_version', models.PositiveSmallIntegerField()),
                    ('width_px', models.PositiveIntegerField()),
                    ('height_px', models.PositiveIntegerField()),
                    ('px_to_face_mm', models.JSONField(help_text='Three rows of three numbers.', null=True)),
                    ('residual_mm', models.FloatField(help_text='Error at the corners to be expected, measured on held-out parts.', null=True)),
                    ('verdict', models.CharField(choices=[('pass', 'Fits'), ('warn', 'Fits roughly'), ('fail', 'Does not fit'), ('cannot_tell', 'Cannot tell')], max_length=12)),
                    ('reason', models.TextField(blank=True)),
                    ('computed_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('deliverable', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='registrations', to='deliverables.deliverable')),
                    ('frame', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='registrations', to='intake.frame')),
                    ('join', models.ForeignKey(blank=True, help_text='The joined picture whose pixels are mapped, if it is made of tiles.', null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='registrations', to='deliverables.join')),
                    ('reference', models.ForeignKey(blank=True, help_text='The picture it was laid over; none for a map from the outline.', null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='registered_to', to='deliverables.deliverable')),
                ],
                options={
                    'ordering': ('deliverable', '-code_version'),
                    'constraints': [models.UniqueConstraint(fields=('deliverable', 'code_version'), name='registration_once_per_code_version'), models.CheckConstraint(condition=models.Q(models.Q(('means', ''), ('px_to_face_mm__isnull', True), ('residual_mm__isnull', True), ('verdict', 'cannot_tell')), models.Q(('means__in', ('outline', 'reference')), ('px_to_face_mm__isnull', False), ('residual_mm__gte', 0), ('residual_mm__isnull', False), ('verdict__in', ('pass', 'warn', 'fail'))), _connector='OR'), name='registration_has_a_matrix_or_cannot_tell'), models.CheckConstraint(condition=models.Q(('verdict', 'pass'), models.Q(('reason', ''), _negated=True), _connector='OR'), name='doubtful_registration_says_why')],
                },
            ),
            migrations.CreateModel(
                name='RetestPair',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('technique', models.CharField(max_length=4)),
                    ('floor', models.FloatField(help_text='ΔE00 in visible light, else % of the light.')),
                    ('unit', models.CharField(max_length=8)),
                    ('note', models.TextField(verbose_name='how it is known that nothing was done')),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='retest_pairs', to=settings.AUTH_USER_MODEL)),
                    ('comparison', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='retest_pair', to='deliverables.comparison')),
                    ('station', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='retest_pairs', to='campaigns.station')),
                ],
                options={
                    'ordering': ('station', 'technique', '-recorded_at', '-pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('note', ''), _negated=True), name='retest_pair_says_why'), models.CheckConstraint(condition=models.Q(('floor__gt', 0)), name='retest_floor_above_zero')],
                },
            ),
            migrations.CreateModel(
                name='Review',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('verdict', models.CharField(choices=[('accepted', 'Accepted'), ('sent_back', 'Sent back'), ('recalled', 'Recalled')], max_length=10)),
                    ('reasons', models.JSONField(default=list)),
                    ('frames_good', models.BooleanField(default=False, help_text='Desk work on the same frames can put it right.')),
                    ('note', models.TextField(blank=True)),
                    ('override_reason', models.TextField(blank=True)),
                    ('is_lone_worker', models.BooleanField(default=False)),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reviews', to=settings.AUTH_USER_MODEL)),
                    ('deliverable', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reviews', to='deliverables.deliverable')),
                ],
                options={
                    'ordering': ('deliverable', 'recorded_at', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('verdict', 'accepted'), models.Q(('note', ''), _negated=True), _connector='OR'), name='refusal_says_why')],
                },
            ),
            migrations.CreateModel(
                name='SurfaceNote',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('face', models.CharField(choices=[('F', 'Front'), ('B', 'Back')], max_length=1)),
                    ('surface', models.CharField(max_length=8)),
                    ('shape', models.CharField(choices=[('rectangle', 'Rectangle'), ('polygon', 'Outline')], max_length=10)),
                    ('points_mm', models.JSONField(help_text='Corners as [x, y] in mm from the top left corner of the face.', verbose_name='region')),
                    ('text', models.TextField(verbose_name='note')),
                    ('as_of', models.DateTimeField()),
                    ('written_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
                    ('author', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='surface_notes', to=settings.AUTH_USER_MODEL)),
                    ('drawn_on', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='surface_notes', to='deliverables.deliverable')),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='surface_notes', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('object', 'face', 'pk'),
                    'indexes': [models.Index(fields=['object', 'withdrawn_at'], name='note_by_object')],
                    'constraints': [models.CheckConstraint(condition=models.Q(('text', ''), _negated=True), name='surface_note_says_something'), models.CheckConstraint(condition=models.Q(('shape__in', ('rectangle', 'polygon'))), name='surface_note_has_a_shape'), models.CheckConstraint(condition=models.Q(('face__in', ('F', 'B'))), name='surface_note_lies_on_front_or_back')],
                },
            ),
        ]),
        migrations.AddConstraint(
            model_name='delivery',
            constraint=models.UniqueConstraint(fields=('package', 'recipient'), name='package_once_to_each_recipient'),
        ),
    ]
