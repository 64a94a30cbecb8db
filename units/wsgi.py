"""The web server's entry."""

import gc
import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "units.settings")
application = get_wsgi_application()

# Every view is imported now, and what stays for the life of the process is no longer looked through for what could be
# thrown away: that would halt a request in thirty for a fifth of a second.
get_resolver().url_patterns  # noqa: B018
gc.collect()
gc.freeze()
