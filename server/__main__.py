"""`python3 -m server …`: makes the environment where it is missing, then runs the command."""

import sys

if sys.version_info < (3, 11):  # noqa: UP036 - said in a sentence to whoever starts it with an older one
    sys.exit("stillair: Python 3.11 or newer is needed; this is {}.{}.".format(*sys.version_info))


def main() -> None:
    """Set up if need be, then hand the arguments to the command line."""
    from server.bootstrap import ensure

    ensure("server")
    from server.commands.main import main as run_command

    run_command()


if __name__ == "__main__":
    main()
