"""Installs published Python libraries, in exact versions, into a folder of the test cache."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
CACHE = Path(os.environ.get("FURROWBELL_CACHE", PROJECT / "target" / "test-cache"))


def install(folder, pins):
    """Makes the libraries importable; `pins` are texts like `name==1.2.3`.

    A mark with the pins is written once pip has succeeded. Without it, or with other pins in it,
    the folder is made anew, so that neither a broken nor an older install is ever used.
    """
    place = CACHE / folder
    mark = place / "installed.txt"
    wanted = "\n".join(pins) + "\n"
    if not mark.is_file() or mark.read_text() != wanted:
        shutil.rmtree(place, ignore_errors=True)
        command = [sys.executable, "-m", "pip", "install", "--quiet", "--no-warn-conflicts"]
        command += ["--disable-pip-version-check", "--target", str(place)]
        if subprocess.run(command + list(pins), check=False, stdout=sys.stderr).returncode != 0:
            sys.exit(f"pip could not install {', '.join(pins)}; its own words stand above")
        mark.write_text(wanted)
    sys.path.insert(0, str(place))
