"""Ask the web process in this container for a page; the exit code says whether it answers."""

import http.client
import os
import sys

connection = http.client.HTTPConnection("127.0.0.1", 8000, timeout=4)
host = os.environ.get("ALLOWED_HOSTS", "127.0.0.1").split(",")[0]
connection.request("GET", "/account/sign-in/", headers={"Host": host, "X-Forwarded-Proto": "https"})
sys.exit(connection.getresponse().status != http.client.OK)
