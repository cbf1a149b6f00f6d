"""What the three notebooks share: where the results lie, and how a table is read.

The notebooks read what the program wrote; nothing of the pipeline depends on them.
Environment:
  TONOCOHORT          the program (default: built from this checkout)
  TONOCOHORT_RESULTS  a results folder (default: that of the demo, made if need be)
  TONOCOHORT_STUDY    the study it was made from (default: that of the demo)
  TONOCOHORT_PARQUET  a command that prints a Parquet file as CSV, for a machine
                      without pyarrow (the checks of this project set it to DuckDB)
"""
import atexit
import functools
import io
import json
import os
import pathlib
import shlex
import subprocess
import tempfile

import pandas as pd

ROOT = pathlib.Path(__file__).resolve().parent.parent
DEMO = ROOT / "quay"
RESULTS = pathlib.Path(os.environ.get("TONOCOHORT_RESULTS", DEMO / "results"))
STUDY = pathlib.Path(os.environ.get("TONOCOHORT_STUDY", DEMO / "study"))


@functools.cache
def program():
    """The program, built once where none is named."""
    if "TONOCOHORT" in os.environ:
        return shlex.split(os.environ["TONOCOHORT"])
    folder = tempfile.TemporaryDirectory()
    atexit.register(folder.cleanup)
    built = pathlib.Path(folder.name) / "tonocohort"
    subprocess.run(["go", "build", "-o", built, "./cmd/tonocohort"], cwd=ROOT, check=True)
    return [str(built)]


def tonocohort(*arguments, expect=(0,)):
    """Runs the program; returns what it prints. Another exit status than expected is an error."""
    done = subprocess.run([*program(), *map(str, arguments)], cwd=ROOT, capture_output=True, text=True)
    if done.returncode not in expect:
        raise RuntimeError(f"tonocohort {' '.join(map(str, arguments))}: exit status {done.returncode}\n{done.stderr}")
    return done.stdout


def tonocohort_json(*arguments, expect=(0,)):
    """Runs a command with --json and takes its answer apart."""
    return json.loads(tonocohort(*arguments, "--json", expect=expect))


def need_results():
    """Makes the demo's results where none are."""
    if not (RESULTS / "manifest.json").exists():
        if RESULTS != DEMO / "results":
            raise FileNotFoundError(f"{RESULTS} holds no finished results")
        tonocohort("demo", DEMO, "--quiet", expect=(0, 3))


def read_table(name, results=None):
    """A table of the results as a data frame: read from its Parquet file by pyarrow
    or by the command in TONOCOHORT_PARQUET, else as the program exports it."""
    path = pathlib.Path(results or RESULTS) / "tables" / f"{name}.parquet"
    try:
        import pyarrow.parquet
        return pyarrow.parquet.read_table(path).to_pandas()
    except ImportError:
        pass
    if "TONOCOHORT_PARQUET" in os.environ:
        text = subprocess.run([*shlex.split(os.environ["TONOCOHORT_PARQUET"]), str(path)],
                              check=True, capture_output=True, text=True).stdout
    else:
        text = tonocohort("export", results or RESULTS, name)
    # "no" is a level and "NA" may be one: only an empty cell is missing.
    return pd.read_csv(io.StringIO(text), keep_default_na=False, na_values=[""], float_precision="round_trip")


def caution():
    """The caution that belongs to every number here."""
    return json.loads((RESULTS / "manifest.json").read_text())["caution"]
