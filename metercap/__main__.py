"""`python -m metercap` is the command line."""

from metercap.cli import main

if __name__ == "__main__":
    main()
