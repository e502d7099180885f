"""``python -m petitpied``: the same as the command ``petitpied``."""

from petitpied.cli.main import main

if __name__ == "__main__":
    main()
