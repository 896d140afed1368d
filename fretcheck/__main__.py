"""``python -m fretcheck``."""

from fretcheck.cli.main import main

if __name__ == "__main__":
    main()
