"""`python -m librarian.standin CHART`: a simulated instrument on real ports."""

import sys

from librarian.standin.process import main

if __name__ == "__main__":
    sys.exit(main())
