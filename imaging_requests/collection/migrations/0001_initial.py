import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models

from imaging_requests.people.creating import CreateModels


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('people', '__first__'),
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='Catalogue',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('title', models.CharField(max_length=200, unique=True)),
                    ('edition', models.CharField(blank=True, max_length=80)),
                    ('image_lock_on', models.DateField(blank=True, null=True)),
                    ('text_lock_on', models.DateField(blank=True, null=True)),
                    ('printing_on', models.DateField(blank=True, null=True)),
                ],
                options={
                    'ordering': ('title',),
                },
            ),
            migrations.CreateModel(
                name='CollectionObject',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('uuid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                    ('kind', models.CharField(choices=[('painting', 'Painting'), ('frame', 'Frame'), ('fragment', 'Fragment'), ('wing', 'Wing'), ('ensemble', 'Ensemble')], default='painting', max_length=20)),
                    ('title', models.CharField(max_length=240)),
                    ('owner', models.CharField(blank=True, max_length=160)),
                    ('consent_needed', models.CharField(blank=True, max_length=240)),
                    ('record_state', models.CharField(choices=[('draft', 'Draft'), ('active', 'Active'), ('merged', 'Merged'), ('withdrawn', 'Withdrawn')], default='active', max_length=12)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('merged_into', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='merged_from', to='collection.collectionobject')),
                    ('part_of', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('pk',),
                    'constraints': [models.CheckConstraint(condition=models.Q(('part_of', None), models.Q(('part_of', models.F('pk')), _negated=True), _connector='OR'), name='object_not_part_of_itself'), models.CheckConstraint(condition=models.Q(models.Q(('merged_into__isnull', False), ('record_state', 'merged')), models.Q(models.Q(('record_state', 'merged'), _negated=True), ('merged_into', None)), _connector='OR'), name='object_merged_names_its_target')],
                },
            ),
            migrations.CreateModel(
                name='Entry',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('number', models.CharField(max_length=20)),
                    ('sort_key', models.CharField(max_length=40)),
                    ('title', models.CharField(max_length=240)),
                    ('weight', models.PositiveSmallIntegerField(default=3)),
                    ('catalogue', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='entries', to='collection.catalogue')),
                    ('curator', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='entries', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('catalogue', 'sort_key'),
                    'indexes': [models.Index(fields=['catalogue', 'sort_key'], name='entry_in_order')],
                    'constraints': [models.UniqueConstraint(fields=('catalogue', 'number'), name='entry_number_once'), models.CheckConstraint(condition=models.Q(('weight__gte', 1), ('weight__lte', 5)), name='entry_weight_1_to_5')],
                },
            ),
            migrations.CreateModel(
                name='EntryObject',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('position', models.PositiveSmallIntegerField(default=1)),
                    ('added_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('removed_at', models.DateTimeField(blank=True, null=True)),
                    ('entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='entry_objects', to='collection.entry')),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='entry_objects', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('entry', 'position', 'pk'),
                    'constraints': [models.UniqueConstraint(condition=models.Q(('removed_at', None)), fields=('entry', 'object'), name='object_once_in_entry'), models.CheckConstraint(condition=models.Q(('removed_at', None), ('removed_at__gt', models.F('added_at')), _connector='OR'), name='entry_object_added_before_removed')],
                },
            ),
            migrations.CreateModel(
                name='Face',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('code', models.CharField(choices=[('F', 'Front'), ('B', 'Back'), ('E', 'Edges')], max_length=1)),
                    ('label', models.CharField(blank=True, max_length=120)),
                    ('distinguishing_mark', models.CharField(blank=True, max_length=240)),
                    ('outline_mm', models.JSONField(blank=True, default=list)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='faces', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('object', 'code'),
                    'constraints': [models.UniqueConstraint(fields=('object', 'code'), name='face_once_per_object')],
                },
            ),
            migrations.CreateModel(
                name='LocationStay',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('place', models.CharField(max_length=120)),
                    ('since', models.DateTimeField()),
                    ('until', models.DateTimeField(blank=True, null=True)),
                    ('confirmed_at', models.DateTimeField(blank=True, null=True)),
                    ('confirmed_by', models.CharField(blank=True, max_length=120)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='stays', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('object', 'since'),
                    'constraints': [models.UniqueConstraint(condition=models.Q(('until', None)), fields=('object',), name='object_in_one_place'), models.CheckConstraint(condition=models.Q(('until', None), ('until__gt', models.F('since')), _connector='OR'), name='stay_since_before_until')],
                },
            ),
            migrations.CreateModel(
                name='ObjectFacts',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('valid_from', models.DateTimeField()),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('height_mm', models.FloatField(blank=True, null=True)),
                    ('width_mm', models.FloatField(blank=True, null=True)),
                    ('depth_mm', models.FloatField(blank=True, null=True)),
                    ('warp_mm', models.FloatField(blank=True, null=True)),
                    ('weight_kg', models.FloatField(blank=True, null=True)),
                    ('support', models.CharField(blank=True, choices=[('canvas', 'Canvas'), ('panel', 'Panel'), ('copper', 'Copper or other metal'), ('paper', 'Paper on canvas'), ('wood', 'Carved wood')], max_length=12)),
                    ('painted_faces', models.CharField(choices=[('F', 'Front'), ('FB', 'Front and back')], default='F', max_length=2)),
                    ('is_lined', models.BooleanField(default=False, help_text='A lining covered the original back at the beginning.')),
                    ('framed', models.BooleanField(blank=True, null=True)),
                    ('glazed', models.BooleanField(blank=True, null=True)),
                    ('sealed', models.BooleanField(blank=True, default=False, null=True)),
                    ('flash_allowed', models.BooleanField(default=True)),
                    ('uv_allowed', models.BooleanField(default=True)),
                    ('uv_cap_min', models.FloatField(blank=True, null=True)),
                    ('heat_sensitive', models.BooleanField(default=False)),
                    ('light_class', models.CharField(blank=True, choices=[('low', 'Low responsivity'), ('medium', 'Medium responsivity'), ('high', 'High responsivity')], max_length=8)),
                    ('flaking', models.CharField(choices=[('none', 'None'), ('local', 'Local'), ('general', 'General')], default='none', max_length=8)),
                    ('notes', models.JSONField(blank=True, default=list)),
                    ('pinned_px_per_mm', models.FloatField(blank=True, null=True)),
                    ('measured_on', models.DateField(blank=True, null=True)),
                    ('method', models.CharField(blank=True, max_length=120)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='facts', to='collection.collectionobject')),
                    ('recorded_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='recorded_facts', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('object', 'recorded_at', 'pk'),
                    'indexes': [models.Index(fields=['object', 'recorded_at'], name='facts_by_object')],
                    'constraints': [models.CheckConstraint(condition=models.Q(('height_mm__isnull', True), models.Q(('height_mm__gt', 0), ('height_mm__lte', 20000)), _connector='OR'), name='facts_height_mm_in_range'), models.CheckConstraint(condition=models.Q(('width_mm__isnull', True), models.Q(('width_mm__gt', 0), ('width_mm__lte', 20000)), _connector='OR'), name='facts_width_mm_in_range'), models.CheckConstraint(condition=models.Q(('depth_mm__isnull', True), models.Q(('depth_mm__gt', 0), ('depth_mm__lte', 5000)), _connector='OR'), name='facts_depth_mm_in_range'), models.CheckConstraint(condition=models.Q(('weight_kg__isnull', True), models.Q(('weight_kg__gt', 0), ('weight_kg__lte', 5000)), _connector='OR'), name='facts_weight_kg_in_range'), models.CheckConstraint(condition=models.Q(('pinned_px_per_mm__isnull', True), models.Q(('pinned_px_per_mm__gt', 0), ('pinned_px_per_mm__lte', 500)), _connector='OR'), name='facts_pinned_px_per_mm_in_range'), models.CheckConstraint(condition=models.Q(('warp_mm', None), models.Q(('warp_mm__gte', 0), ('warp_mm__lte', 1000)), _connector='OR'), name='facts_warp_mm_in_range')],
                },
            ),
            migrations.CreateModel(
                name='ObjectNumber',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('number', models.CharField(max_length=60)),
                    ('scheme', models.CharField(default='inventory', max_length=40)),
                    ('in_force_from', models.DateField()),
                    ('in_force_to', models.DateField(blank=True, null=True)),
                    ('source', models.CharField(blank=True, max_length=160)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='numbers', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('object', '-in_force_from'),
                    'constraints': [models.UniqueConstraint(fields=('scheme', 'number'), name='number_never_used_twice'), models.UniqueConstraint(condition=models.Q(('in_force_to', None)), fields=('object', 'scheme'), name='one_number_in_force'), models.CheckConstraint(condition=models.Q(('in_force_to', None), ('in_force_to__gt', models.F('in_force_from')), _connector='OR'), name='number_from_before_to')],
                },
            ),
            migrations.CreateModel(
                name='StaleMark',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('reason', models.CharField(max_length=80)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='stale_marks', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('pk',),
                },
            ),
            migrations.CreateModel(
                name='Unavailability',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('reason', models.CharField(choices=[('loan', 'On loan'), ('display', 'On display, closing days only'), ('treatment', 'In treatment'), ('quarantine', 'In quarantine'), ('consent', "Waiting for the owner's consent"), ('store', 'In the outside store')], max_length=12)),
                    ('note', models.CharField(blank=True, max_length=240)),
                    ('techniques', models.JSONField(blank=True, default=list)),
                    ('blocks_capture', models.BooleanField(default=True)),
                    ('since', models.DateTimeField()),
                    ('until', models.DateTimeField(blank=True, null=True)),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='unavailabilities', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('object', 'since'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('until', None), ('until__gt', models.F('since')), _connector='OR'), name='unavailable_since_before_until')],
                },
            ),
        ]),
    ]
