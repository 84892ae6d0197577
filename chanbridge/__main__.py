"""`python -m chanbridge` and the console script."""

from chanbridge.cli import main

if __name__ == "__main__":
    main()
