"""`python -m jointload.cli`, the same as the installed command."""

from jointload.cli.main import main

if __name__ == "__main__":
    main()
