"""Load a running site and count what it bears; the faults' command with the loads alone.

python -m tests.load            # as much and as long as is claimed: about an hour on two free cores
python -m tests.load --short    # a minute
"""

import sys

from tests.faults.__main__ import main

if __name__ == "__main__":
    chosen = [] if "--only" in sys.argv else ["--only", "visitors", "memory", "queue"]
    sys.exit(main([*sys.argv[1:], *chosen]))
