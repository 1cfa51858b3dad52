"""`python -m clinic_app`: the same as the `clinic-app` command."""

import sys

try:
    from clinic_app.cli.main import main
except KeyboardInterrupt:  # stopped before anything was begun
    sys.exit(4)

if __name__ == "__main__":
    sys.exit(main())
