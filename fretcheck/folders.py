"""Where fretcheck keeps its data on this computer."""

import os
from pathlib import Path

from platformdirs import user_data_path


def data_folder(chosen: Path | None = None) -> Path:
    """Folder of sessions and register: `chosen`, else the environment's FRETCHECK_DATA, else the user's data folder.

    It is not created here.
    """
    if chosen is not None:
        return chosen.absolute()
    if from_environment := os.environ.get("FRETCHECK_DATA"):
        return Path(from_environment).absolute()
    return user_data_path("fretcheck", appauthor=False)
