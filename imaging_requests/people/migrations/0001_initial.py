import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

from imaging_requests.people.creating import CreateModels


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='User',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('password', models.CharField(max_length=128, verbose_name='password')),
                    ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                    ('email', models.EmailField(max_length=254, unique=True, verbose_name='e-mail address')),
                    ('name', models.CharField(max_length=120)),
                    ('is_active', models.BooleanField(default=True)),
                    ('joined_at', models.DateTimeField(default=django.utils.timezone.now)),
                ],
                options={
                    'ordering': ('name', 'pk'),
                    'constraints': [models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='user_has_a_name'), models.CheckConstraint(condition=models.Q(('email', django.db.models.functions.text.Lower('email'))), name='user_email_is_lower_case')],
                },
            ),
            migrations.CreateModel(
                name='AuditHead',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('hash', models.CharField(max_length=64)),
                ],
                options={
                    'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='one_audit_head')],
                },
            ),
            migrations.CreateModel(
                name='AuditEvent',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('code', models.CharField(max_length=80)),
                    ('recorded_at', models.DateTimeField()),
                    ('valid_at', models.DateTimeField()),
                    ('subject_type', models.CharField(max_length=60)),
                    ('subject_id', models.CharField(max_length=40)),
                    ('object_id', models.BigIntegerField(blank=True, null=True)),
                    ('before', models.JSONField(default=dict)),
                    ('after', models.JSONField(default=dict)),
                    ('reason', models.TextField(blank=True)),
                    ('previous_hash', models.CharField(max_length=64)),
                    ('hash', models.CharField(max_length=64, unique=True)),
                    ('actor', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='audit_events', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('pk',),
                    'indexes': [models.Index(fields=['subject_type', 'subject_id'], name='audit_by_subject'), models.Index(fields=['object_id', 'recorded_at'], name='audit_by_object')],
                },
            ),
            migrations.CreateModel(
                name='Notice',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('text', models.TextField()),
                    ('url', models.CharField(blank=True, max_length=300)),
                    ('read_at', models.DateTimeField(blank=True, null=True)),
                    ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='notices', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('-created_at', '-pk'),
                    'indexes': [models.Index(fields=['user', 'read_at'], name='notice_unread')],
                },
            ),
            migrations.CreateModel(
                name='RoleHolding',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('role', models.CharField(choices=[('curator', 'Curator'), ('conservator', 'Conservator'), ('photographer', 'Photographer'), ('lead', 'Imaging lead'), ('head', 'Department head'), ('keeper', 'System keeper'), ('co_author', 'Co-author outside'), ('lender', 'Lender or owner')], max_length=20)),
                    ('held_from', models.DateTimeField(default=django.utils.timezone.now)),
                    ('held_until', models.DateTimeField(blank=True, null=True)),
                    ('user', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='role_holdings', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'ordering': ('user', 'role', 'held_from'),
                    'constraints': [models.UniqueConstraint(condition=models.Q(('held_until', None)), fields=('user', 'role'), name='role_held_once_at_a_time'), models.CheckConstraint(condition=models.Q(('held_until', None), ('held_until__gt', models.F('held_from')), _connector='OR'), name='role_held_from_before_until')],
                },
            ),
        ]),
    ]
