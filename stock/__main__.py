"""``python -m stock``: the same as the ``stock`` command."""

from stock.commands.app import main

if __name__ == "__main__":
    main()
