"""Ask the web process in this container whether it can do its work; the exit code is the answer."""

import http.client
import os
import sys

connection = http.client.HTTPConnection("127.0.0.1", int(os.environ.get("PORT", "8000")), timeout=4)
host = os.environ.get("ALLOWED_HOSTS", "127.0.0.1").split(",")[0]
connection.request("GET", "/healthz/ready/", headers={"Host": host, "X-Forwarded-Proto": "https"})
sys.exit(connection.getresponse().status != http.client.OK)
