"""Several processes on one book never ask one host twice at a time, by the shops' own log.

The rule is our promise to the shops (docs/glossary.md, "lane"); common practice of crawlers: one
request at a time and a pause between visits.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections import defaultdict
from itertools import pairwise

from command import ebbmark
from many_shops import catalogue, many_shops

HOSTS, EACH = 2, 2
GAP = 2
COMMAND = [sys.executable, "-c", "from service.cli import main; main()"]


def test_poll_twice_and_read_side_by_side(tmp_path, clean_home, monkeypatch):
    env = {
        "HOME": str(clean_home),
        "PATH": os.environ["PATH"],
        "EBBMARK_DB": f"sqlite:///{tmp_path / 'book.db'}",
        "EBBMARK_ALLOW_HOSTS": ",".join(f"127.0.0.{n}" for n in range(1, HOSTS + 1)),
    }
    for name, value in env.items():
        monkeypatch.setenv(name, value)
    with many_shops(HOSTS, slow=0.05) as shops:
        text = catalogue(shops, HOSTS, EACH).replace(
            'country = "NL"\n', f'country = "NL"\nmin_gap = "{GAP} s"\n'
        )
        (tmp_path / "book.toml").write_text(text)
        assert ebbmark("load", str(tmp_path / "book.toml")).code == 0
        jobs = [
            [*COMMAND, "poll", "--all", "--json"],
            [*COMMAND, "poll", "--all", "--json"],
            [*COMMAND, "read", shops.url(1, 1001), "--json"],
        ]
        running = [
            subprocess.Popen(job, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
            for job in jobs
        ]
        results = [process.communicate(timeout=120) for process in running]
    assert [process.returncode for process in running] == [0, 0, 0], results
    by_host = defaultdict(list)
    for host, path, start, end in shops.log:
        by_host[host].append((start, end, path))
    assert len(by_host) == HOSTS
    for visits in by_host.values():
        visits.sort()
        assert len(visits) >= 2 * EACH
        for (_, end, before), (start, _, path) in pairwise(visits):
            assert start >= end, "two requests in flight to one host"
            if before != "/robots.txt":  # requests of one visit follow at once
                assert start - end >= GAP * 0.99, (before, path)
