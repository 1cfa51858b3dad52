"""`python -m clinic_app`: the same as the `clinic-app` command."""

import sys

from clinic_app.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
