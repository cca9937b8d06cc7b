"""The web application for gunicorn and for `manage.py serve`."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "imaging_requests.config.settings")
application = get_wsgi_application()
