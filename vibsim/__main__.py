"""`python -m vibsim`."""

from vibsim.cli import entry

if __name__ == "__main__":
    entry()
