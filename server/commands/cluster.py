"""`stillair scheduler` and `stillair worker`: long work by several processes, of one computer or of many."""

from __future__ import annotations

import os
from typing import Annotated

import typer

Host = Annotated[str, typer.Option(metavar="ADDRESS", help="Where it listens; 0.0.0.0 is every network.")]
Port = Annotated[int, typer.Option(min=1, max=65535, help="And at which port.")]
Scheduler = Annotated[str, typer.Argument(metavar="SCHEDULER", help="Its address, as tcp://computer:8786.")]
Count = Annotated[int | None, typer.Option("--processes", min=1, help="How many at once; one a core without it.")]


def scheduler(host: Host = "127.0.0.1", port: Port = 8786) -> None:
    """Hand out long work to workers, until Ctrl-C.

    \b
    stillair scheduler                  for workers on this computer
    stillair scheduler --host 0.0.0.0   for those of the network as well

    The server uses it where STILLAIR_SCHEDULER names it. Whoever reaches a scheduler can run programs on all of its
    workers: keep it in a network where you trust everybody, or let Dask's own settings ask for TLS.
    """
    from distributed.cli.dask_scheduler import main

    main(["--host", host, "--port", str(port), "--no-dashboard", "--no-show"], standalone_mode=False)


def worker(scheduler: Scheduler, processes: Count = None) -> None:
    """Do what a scheduler hands out, until Ctrl-C; a process that dies is started again.

    \b
    stillair worker tcp://pitwall:8786                 with all cores
    stillair worker tcp://pitwall:8786 --processes 2   with two

    Set the same version of Stillair up there; a worker of another version is refused by name. Raw files come from the
    store that all computers reach (STILLAIR_RAW_STORE), whose credentials have to be in this environment, too.
    """
    from distributed.cli.dask_worker import main

    count = str(processes or os.cpu_count() or 1)
    main([scheduler, "--nworkers", count, "--nthreads", "1", "--no-dashboard"], standalone_mode=False)
