"""`python -m traceability`: the command line."""

from traceability.cli.main import main

if __name__ == "__main__":
    main()
