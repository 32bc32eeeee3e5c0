"""Run ``python -m crowlight``."""

from crowlight.cli import main

if __name__ == "__main__":
    main()
