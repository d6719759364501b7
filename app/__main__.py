"""``python3 -m app``: prepare what is needed, then do what was asked.

Even a Python of long ago can read this file, so that it can say that it is too old.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036 - an older one gets a sentence instead of a traceback
    found = "{}.{}".format(*sys.version_info)
    sys.stderr.write("Tarebook cannot start: it needs Python 3.11 or newer and this is " + found + "; ")
    sys.stderr.write("install a newer one and start with it.\n")
    sys.exit(1)

from app import bootstrap

if __name__ == "__main__":
    sys.exit(bootstrap.main(sys.argv[1:]))
