"""`python -m librarian` is the command `librarian`."""

from librarian.cli import main

if __name__ == "__main__":
    main()
