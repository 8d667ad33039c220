"""The peer of BenchmarkFlagTables: the two-by-two tables of every flag by species and
month with pandas, from a CSV with one column a flag (1 fired, 0 ruled out, 2 neither).

    flag_tables.py CSV OUT

It reads the whole file into memory, each column as the narrowest type, and groups it.
OUT takes one line a flag, month and species: tp, fp, fn, tn, unknown of those in need
and of those not in need, and of those of unknown need fired, ruled out and unknown. What
each step took goes to standard output as JSON; importing pandas is not counted.

`by_hand` does the grouping once more without groupby, by numpy.bincount over group
numbers, and must come to the same tables.
"""

import json
import resource
import sys
import time

import numpy as np
import pandas as pd


def read(path):
    names = pd.read_csv(path, nrows=0).columns
    types = {name: "int8" for name in names} | {"month": "int32", "species": "category"}
    return pd.read_csv(path, dtype=types, na_filter=False)  # a species that is not recorded stays a group


def group(calls, flags):
    keys = [calls["month"], calls["species"], calls["need"]]
    fired = (calls[flags] == 1).groupby(keys, observed=True).sum()
    unknown = (calls[flags] == 2).groupby(keys, observed=True).sum()
    every = calls.groupby(["month", "species", "need"], observed=True).size()
    return fired, unknown, every


def by_hand(calls, flags):
    groups = calls.groupby(["month", "species", "need"], observed=True)
    number = 3 * groups.ngroup().to_numpy()
    every = groups.size()
    counts = [np.bincount(number + calls[f].to_numpy(), minlength=3 * len(every)) for f in flags]
    table = lambda answer: pd.DataFrame({f: c[answer::3] for f, c in zip(flags, counts)}, index=every.index)
    return table(1), table(2), every


def tables(fired, unknown, every, flags):
    """One line a flag, month and species."""
    absent = -(fired + unknown).sub(every, axis=0)
    places = sorted({(month, species) for month, species, _ in every.index})
    cells = {need: [frame.xs(need, level="need").reindex(places, fill_value=0).astype(int) for frame in (fired, absent, unknown)]
             for need in (1, 0, -1)}
    order = [(1, 0), (0, 0), (1, 1), (0, 1), (1, 2), (0, 2), (-1, 0), (-1, 1), (-1, 2)]
    lines = []
    for i, flag in enumerate(flags):
        columns = [cells[need][answer][flag].tolist() for need, answer in order]
        for k, (month, species) in enumerate(places):
            lines.append(",".join(map(str, [i, month, species] + [c[k] for c in columns])) + "\n")
    return "".join(lines)


def timed(spent, part, work):
    wall, processor = time.perf_counter(), time.process_time()
    result = work()
    spent[part] = {"wall_s": time.perf_counter() - wall, "processor_s": time.process_time() - processor}
    return result


def main(path, out):
    spent = {}
    calls = timed(spent, "read", lambda: read(path))
    flags = [name for name in calls.columns if name.startswith("flag_")]
    text = timed(spent, "group", lambda: tables(*group(calls, flags), flags))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    again = timed(spent, "by_hand", lambda: tables(*by_hand(calls, flags), flags))
    if again != text:
        sys.exit("by hand the tables are others than by groupby")
    with open(out, "w") as f:
        f.write(text)
    json.dump({"spent": spent, "peak_mb": peak, "pandas": pd.__version__}, sys.stdout)


main(*sys.argv[1:])
