"""`python -m vibsim`."""

from vibsim.cli import main

if __name__ == "__main__":
    main()
