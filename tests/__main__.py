"""`python3 -m tests`: sets up what the checks need, then runs them all; the exit code is 0 when all pass.

    python3 -m tests                 style, types, and every test
    python3 -m tests -k rounding     only pytest, with these arguments

Browser tests need Chromium and its driver; without them they are skipped, and the summary says so.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036 - said in a sentence to whoever starts it with an older one
    sys.exit("stillair: Python 3.11 or newer is needed; this is {}.{}.".format(*sys.version_info))


def main() -> int:
    """Set up if need be, then run the checks in the environment."""
    from server.bootstrap import ensure

    ensure("tests", "tests")
    from tests.checks import run_all, run_pytest

    arguments = sys.argv[1:]
    return run_pytest(arguments) if arguments else run_all()


if __name__ == "__main__":
    sys.exit(main())
