"""What page and child process call the files of a bench plan."""

from typing import Final

BENCH_FOLDER: Final = "bench"  # in the page's own: a folder for each plan
PLAN_NAME: Final = "plan.json"
JOB_FOLDER: Final = "job"
PICTURES_OF_JOB: Final = "pictures"
LAID_NAME: Final = "laid.json"  # beside what the job was made from: the jig, and what lay where
