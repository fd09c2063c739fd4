"""A director as a process of its own: a cold day without end, at a pace, until it is interrupted or killed.

Takes STATE and RUN, prints the keeper's number and then a line as soon as the relay is on.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from controller.folders import FolderKind, Folders, claim_folders
from controller.loop.supervisor import only_one
from controller.rehearse.drive import heed_signals
from controller.rehearse.paced import paced_rehearsal
from tests.controller.rehearse.lab import plan

if __name__ == "__main__":
    folders = Folders(state=Path(sys.argv[1]), run=Path(sys.argv[2]))
    claim_folders(folders, kind=FolderKind.REHEARSAL)
    with (
        only_one(folders),
        heed_signals() as interrupt,
        paced_rehearsal(plan(days=9.0), folders) as rehearsal,
    ):
        print(rehearsal.children[0].pid, flush=True)
        told = False
        for moment in rehearsal.moments():
            if not told and any(frame.report.relay_on for frame in moment.result.frames.values()):
                print("heated", flush=True)
                told = True
            if told and interrupt.signal_number:
                break
            time.sleep(0.01 if told else 0.0)
    sys.exit(128 + interrupt.signal_number)
