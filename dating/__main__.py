"""``python -m dating``: the command."""

from dating.cli.main import main

if __name__ == "__main__":
    main(prog_name="dating")
