"""Let `python -m reclaim` do what `reclaim` does."""

from reclaim.cli import main

if __name__ == "__main__":
    main()
