"""Settings, addresses and the Celery application: the outermost ring."""
