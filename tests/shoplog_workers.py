"""Processes that write one log at once, or are killed while they do: run as a script, so that they are really apart."""

from __future__ import annotations

import contextlib
import json
import os
import random
import select
import signal
import sys
import time
from collections import Counter
from pathlib import Path

from shopcalc.errors import InputError
from shopcalc.shoplog import ShopLog, TimeEntry
from shopcalc.shoplog.exchange import plan_import, take
from shopcalc.shoplog.saving import backup, check, restore
from shopcalc.shoplog.timers import start, stop

ROWS = 1000  # of each import
MODES = ("add", "timer", "first start", "backup", "import", "restore")


def forked(action, *arguments):
    """Run in a child; its confirmations come through a pipe."""
    out, into = os.pipe()
    child = os.fork()
    if child:
        os.close(into)
        return child, out
    os.close(out)
    status = 1
    try:
        action(lambda text: os.write(into, f"{text}\n".encode()), *arguments)
        status = 0
    except BaseException as e:
        os.write(into, f"! {e!r}\n".encode())
    finally:
        os._exit(status)


def read_all(out):
    with os.fdopen(out, "rb") as pipe:
        return pipe.read().decode().splitlines()


# --- many at once ----------------------------------------------------------------------------------------------------


def adding(say, folder, name, count):
    with ShopLog.of(folder) as log:
        for k in range(count):
            made = log.add(TimeEntry("gates", f"program-{k % 7}", seconds=float(k + 1)), operator=name)
            say(made.uid)


def at_once(folder, processes, count):
    """Confirmed names, seconds, and what any of them complained of."""
    begin = time.perf_counter()
    # each pipe is read to its end in turn, so none may fill: a name is 33 bytes, a pipe holds 64 KB
    children = [forked(adding, folder, f"operator-{k}", count) for k in range(processes)]
    lines, open_ones = [], {out for _, out in children}
    held = {out: b"" for out in open_ones}
    while open_ones:
        for out in select.select(list(open_ones), [], [])[0]:
            piece = os.read(out, 65536)
            held[out] += piece
            if not piece:
                open_ones.discard(out)
    for child, out in children:
        os.close(out)
        os.waitpid(child, 0)
        lines += held[out].decode().splitlines()
    return {
        "confirmed": [line for line in lines if not line.startswith("!")],
        "complaints": [line for line in lines if line.startswith("!")],
        "seconds": time.perf_counter() - begin,
    }


# --- killed at any moment --------------------------------------------------------------------------------------------


def work(say, mode, folder, file):
    if mode in ("first start", "restore"):
        say("begin")
    if mode == "restore":
        restore(folder, folder / "copy.sqlite")
        return
    with ShopLog.of(folder) as log:
        plans = [plan_import(log, f"{file}-{k}.csv", operator="Ann") for k in range(3)] if mode == "import" else []
        if mode != "first start":
            say("begin")
        if mode == "add":
            for k in range(10_000):
                say(log.add(TimeEntry("gates", "p", seconds=float(k)), operator="Ann").uid)
        elif mode == "timer":
            for _ in range(5_000):
                say(start(log, TimeEntry("gates", "p"), operator="Ann", running="end")[0].uid)
                say(stop(log, operator="Ann")[1].uid)
        elif mode == "backup":
            for k in range(1_000):
                backup(log, f"{file}-{k}")
                say(f"backup {file}-{k}")
        elif mode == "import":
            for k, plan in enumerate(plans):
                take(log, plan)
                say(f"import {file}-{k}.csv")


#: Longest wait before the kill [s]: what the work of each mode takes to come through once or a few times.
SPAN = {"add": 0.1, "timer": 0.1, "first start": 0.04, "backup": 0.3, "import": 0.15, "restore": 0.1}


def kill_rounds(folder, rounds, seed):
    """So many kills, looked at after each; the sum of what was seen."""
    chance, seen, told = random.Random(seed), Counter(), Counter()
    one = Path(folder) / "shop"
    one.mkdir()
    for number in range(rounds):
        mode = MODES[number % len(MODES)]
        shop = one
        if mode in ("first start", "restore"):
            shop = Path(folder) / f"new-{number}"
            shop.mkdir()
        if mode == "restore":
            with ShopLog.of(shop) as log:
                log.add(TimeEntry("gates", seconds=1.0), operator="Ann")
                backup(log, shop / "copy.sqlite")
                log.add(TimeEntry("gates", seconds=2.0), operator="Ann")
        file = Path(folder) / f"file-{number}"
        if mode == "import":
            for k in range(3):
                rows = "".join(f"{i} s,gates,p,{number}-{k}\n" for i in range(1, ROWS + 1))
                file.with_name(f"{file.name}-{k}.csv").write_text("time,job,program,note\n" + rows)
        child, out = forked(work, mode, shop, file)
        os.read(out, 6)  # it has begun
        time.sleep(chance.uniform(0, SPAN[mode]))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines = read_all(out)
        assert not [line for line in lines if line.startswith("!")], lines
        look(shop, mode, file, lines, seen, told)
        seen["kills"] += 1
    return {"seen": seen, "told": told}


def look(shop, mode, file, lines, seen, told):
    with ShopLog.of(shop) as log:
        said = list(log.told)
        for text in said:
            told[text.split("(")[0].strip() if "cut off" in text else "timers went on"] += 1
        assert not check(log).troubles
        names = {u for (u,) in log.rows("SELECT uid FROM entries")}
        confirmed = {line for line in lines if len(line) == 32}
        assert confirmed <= names, "a confirmed entry is lost"
        seen["confirmed entries"] += len(confirmed)
        if mode == "add":
            new = len(names) - seen["names"]
            assert new - len(confirmed) in (0, 1), "more than the one under way came unconfirmed"
            if any("give it again" in t for t in said):
                assert new == len(confirmed), "said to be missing, but there"
        if mode == "import":
            for k in range(3):
                note = file.name.removeprefix("file-") + f"-{k}"
                there = log.rows("SELECT count(*) FROM entries WHERE note = ?", (note,))[0][0]
                assert there in (0, ROWS), f"half an import: {there}"
                done = f"import {file}-{k}.csv" in lines
                assert there == ROWS or not done, "a confirmed import is lost"
                seen["imports"] += there == ROWS
        if mode == "restore":
            asides = list(shop.glob("log-before-restoring-*.sqlite"))
            assert len(names) in (1, 2)
            assert len(names) == 2 or len(asides) == 1, "an entry is nowhere any more"
            seen["restored"] += len(names) == 1
        if mode == "first start":
            log.add(TimeEntry("gates", seconds=1.0), operator="Ann")
        if shop.name == "shop":
            seen["names"] = log.rows("SELECT count(*) FROM entries")[0][0]
    for made in file.parent.glob(f"{file.name}-*"):
        if mode == "backup":
            with ShopLog(made, writable=False) as copy:
                assert not check(copy).troubles
            seen["backups"] += 1
        with contextlib.suppress(OSError):
            made.unlink()
    left = [p.name for p in shop.glob("log.sqlite-run-*")] + [p.name for p in file.parent.rglob(".shopcalc-*")]
    assert not left, f"left behind: {left}"


if __name__ == "__main__":
    what, place, *numbers = sys.argv[1:]
    try:
        found = {"at-once": at_once, "kill": kill_rounds}[what](place, *map(int, numbers))
    except InputError as e:
        sys.exit(str(e))
    print(json.dumps(found))
