"""``python3 -m app``: prepare what is needed, then do what was asked."""

import sys

from app import bootstrap

if __name__ == "__main__":
    sys.exit(bootstrap.main(sys.argv[1:]))
