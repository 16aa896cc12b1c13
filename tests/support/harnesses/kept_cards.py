"""Test cards laid out and written once for the same wishes: both hang on nothing else."""

from functools import cache

from etchphoto.job.folder import new_job_folder
from etchproof.layout.card_order import lay_out
from etchproof.layout.job import prepare_card

lay_out_once = cache(lay_out)
_JOBS = {}  # the sheet and the files of each card's job, by the card and its place


def prepare_once(card, *, folder, is_replacing=False, at_mm=None):
    """Do what `prepare_card` does, or copy what it made of the same card at the same place."""
    if (card, at_mm) not in _JOBS:
        sheet = prepare_card(card, folder=folder, is_replacing=is_replacing, at_mm=at_mm)
        _JOBS[card, at_mm] = sheet, {file.name: file.read_bytes() for file in folder.iterdir()}
        return sheet
    sheet, files = _JOBS[card, at_mm]
    with new_job_folder(folder, is_replacing=is_replacing) as partial:
        for name, content in files.items():
            (partial / name).write_bytes(content)
    return sheet
