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
                name='ProtocolVersion',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('number', models.PositiveIntegerField()),
                    ('state', models.CharField(choices=[('draft', 'Draft'), ('published', 'Published'), ('retired', 'Retired')], default='draft', max_length=10)),
                    ('definition', models.JSONField()),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('published_at', models.DateTimeField(blank=True, null=True)),
                    ('name', models.CharField(default='catalogue', max_length=80)),
                    ('co_signed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='co_signed_%(class)ss', to=settings.AUTH_USER_MODEL)),
                    ('published_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='published_%(class)ss', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('number',),
                    'abstract': False,
                    'constraints': [models.UniqueConstraint(fields=('name', 'number'), name='protocol_version_once'), models.CheckConstraint(condition=models.Q(('state', 'draft'), ('published_at__isnull', False), _connector='OR'), name='protocol_published_has_an_instant'), models.CheckConstraint(condition=models.Q(('state', 'draft'), models.Q(('co_signed_by__isnull', False), ('published_by__isnull', False), models.Q(('published_by', models.F('co_signed_by')), _negated=True)), _connector='OR'), name='protocol_published_by_two_people')],
                },
            ),
            migrations.CreateModel(
                name='EntryPin',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('pinned_at', models.DateTimeField()),
                    ('unpinned_at', models.DateTimeField(blank=True, null=True)),
                    ('recorded_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('reason', models.CharField(blank=True, max_length=240)),
                    ('entry', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pins', to='collection.entry')),
                    ('protocol', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pins', to='protocols.protocolversion')),
                ],
                options={
                    'ordering': ('entry', 'pinned_at'),
                    'constraints': [models.UniqueConstraint(condition=models.Q(('unpinned_at', None)), fields=('entry',), name='entry_pinned_once'), models.CheckConstraint(condition=models.Q(('unpinned_at', None), ('unpinned_at__gt', models.F('pinned_at')), _connector='OR'), name='pin_from_before_to')],
                },
            ),
            migrations.CreateModel(
                name='StudioSettingsVersion',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('number', models.PositiveIntegerField()),
                    ('state', models.CharField(choices=[('draft', 'Draft'), ('published', 'Published'), ('retired', 'Retired')], default='draft', max_length=10)),
                    ('definition', models.JSONField()),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('published_at', models.DateTimeField(blank=True, null=True)),
                    ('co_signed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='co_signed_%(class)ss', to=settings.AUTH_USER_MODEL)),
                    ('published_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='published_%(class)ss', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('number',),
                    'abstract': False,
                    'constraints': [models.UniqueConstraint(fields=('number',), name='studio_settings_version_once'), models.CheckConstraint(condition=models.Q(('state', 'draft'), ('published_at__isnull', False), _connector='OR'), name='studio_settings_published_has_an_instant'), models.CheckConstraint(condition=models.Q(('state', 'draft'), models.Q(('co_signed_by__isnull', False), ('published_by__isnull', False), models.Q(('published_by', models.F('co_signed_by')), _negated=True)), _connector='OR'), name='studio_settings_published_by_two_people')],
                },
            ),
            migrations.CreateModel(
                name='TriggerTableVersion',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('row_version', models.PositiveIntegerField(default=1)),
                    ('number', models.PositiveIntegerField()),
                    ('state', models.CharField(choices=[('draft', 'Draft'), ('published', 'Published'), ('retired', 'Retired')], default='draft', max_length=10)),
                    ('definition', models.JSONField()),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('published_at', models.DateTimeField(blank=True, null=True)),
                    ('co_signed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='co_signed_%(class)ss', to=settings.AUTH_USER_MODEL)),
                    ('published_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='published_%(class)ss', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('number',),
                    'abstract': False,
                    'constraints': [models.UniqueConstraint(fields=('number',), name='trigger_table_version_once'), models.CheckConstraint(condition=models.Q(('state', 'draft'), ('published_at__isnull', False), _connector='OR'), name='trigger_table_published_has_an_instant'), models.CheckConstraint(condition=models.Q(('state', 'draft'), models.Q(('co_signed_by__isnull', False), ('published_by__isnull', False), models.Q(('published_by', models.F('co_signed_by')), _negated=True)), _connector='OR'), name='trigger_table_published_by_two_people')],
                },
            ),
        ]),
    ]
