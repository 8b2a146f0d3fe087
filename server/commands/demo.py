"""`stillair demo`: the pages with a made-up day, so that a newcomer sees a result at once."""

from __future__ import annotations

from server.commands.options import DataFolder, Port


def demo(data: DataFolder = None, port: Port = None) -> None:
    """Open the pages on a made-up test day: its logs become drag areas while you watch.

    \b
    stillair demo                       data in the home folder, port 8421
    stillair demo --data /tmp/look      leaves nothing in the home folder
    stillair demo --port 9000

    Team, car, venue and numbers of the day are made up. Your own day can be dropped on the page.
    """
    from server.commands.web_server import run_server
    from server.errors import StillairError
    from server.locations import sample_data_folder, sample_day_folders
    from server.settings import load

    days = sample_day_folders()
    if not days:
        raise StillairError(f"There is no sample day in {sample_data_folder()}; fetch the project again.")
    run_server(load(data_folder=data, port=port, day_folder=days[-1]))
