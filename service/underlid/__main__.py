"""`python -m underlid` and the console script: hands over to the commands."""

from __future__ import annotations

from underlid.cli import underlid


def main() -> None:
    """Run the command line."""
    underlid(prog_name="underlid")


if __name__ == "__main__":
    main()
