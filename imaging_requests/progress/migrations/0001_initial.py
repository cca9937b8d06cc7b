import django.db.models.deletion
from django.db import migrations, models

from imaging_requests.people.creating import CreateModels


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('collection', '0001_initial'),
        ('requesting', '0001_initial'),
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='CatalogueStatus',
                fields=[
                    ('catalogue', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='derived', serialize=False, to='collection.catalogue')),
                    ('full', models.PositiveIntegerField(default=0)),
                    ('waived', models.PositiveIntegerField(default=0)),
                    ('gap', models.PositiveIntegerField(default=0)),
                    ('present', models.PositiveIntegerField(default=0)),
                    ('resolved', models.PositiveIntegerField(default=0)),
                    ('debt', models.PositiveIntegerField(default=0)),
                    ('lost', models.PositiveIntegerField(default=0)),
                ],
                options={
                    'ordering': ('catalogue',),
                },
            ),
            migrations.CreateModel(
                name='EntryStatus',
                fields=[
                    ('entry', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='derived', serialize=False, to='collection.entry')),
                    ('grade', models.CharField(max_length=20)),
                    ('why', models.TextField(blank=True)),
                    ('counts', models.JSONField(default=dict, help_text='Present views by status, then all views by status.')),
                    ('cells', models.JSONField(default=dict, help_text='Statuses of present views by column of the board.')),
                    ('present', models.PositiveIntegerField(default=0, help_text='Present views, without those that do not apply or are replaced.')),
                    ('resolved', models.PositiveIntegerField(default=0, help_text='Present views filed or waived.')),
                    ('debt', models.PositiveIntegerField(default=0, help_text='Present views no longer true, or waiting for a decision.')),
                    ('owed', models.PositiveIntegerField(default=0)),
                    ('met', models.PositiveIntegerField(default=0)),
                    ('unmet', models.PositiveIntegerField(default=0)),
                    ('lost', models.PositiveIntegerField(default=0)),
                    ('derived_at', models.DateTimeField()),
                ],
                options={
                    'indexes': [models.Index(fields=['grade'], name='entry_status_grade')],
                },
            ),
            migrations.CreateModel(
                name='ObjectStatus',
                fields=[
                    ('object', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='derived', serialize=False, to='collection.collectionobject')),
                    ('derived_at', models.DateTimeField()),
                    ('holds_until', models.DateTimeField(blank=True, help_text='The next instant at which a date alone changes a status: a waiver ends, say.', null=True)),
                    ('facts_complete', models.BooleanField(default=False)),
                    ('missing_facts', models.JSONField(default=list)),
                    ('state_index', models.PositiveSmallIntegerField(default=0)),
                    ('has_open_question', models.BooleanField(default=False)),
                ],
                options={
                    'indexes': [models.Index(fields=['holds_until'], name='object_status_holds_until')],
                },
            ),
            migrations.CreateModel(
                name='ViewStatus',
                fields=[
                    ('owed_view', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='derived', serialize=False, to='requesting.owedview')),
                    ('status', models.CharField(max_length=14)),
                    ('why', models.TextField(blank=True)),
                    ('reason', models.JSONField(default=dict)),
                    ('waits_for', models.CharField(blank=True, max_length=240)),
                    ('waits_for_role', models.CharField(blank=True, max_length=80)),
                    ('is_met', models.BooleanField(default=False)),
                    ('is_present', models.BooleanField(default=True, help_text='Owed as of now, not of a state.')),
                    ('chain', models.CharField(blank=True, max_length=36)),
                    ('picture_version', models.PositiveSmallIntegerField(blank=True, null=True)),
                    ('object', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='view_statuses', to='collection.collectionobject')),
                ],
                options={
                    'ordering': ('owed_view',),
                    'indexes': [models.Index(fields=['object', 'status'], name='view_status_by_object'), models.Index(fields=['status', 'is_present', 'object'], name='view_by_status')],
                },
            ),
        ]),
    ]
