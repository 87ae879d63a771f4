"""``python -m motionhub`` is the ``motionhub`` command."""

from motionhub.cli import main

if __name__ == "__main__":
    main()
