"""Planning an order: how long, how often proved, how much dearer without it.

Run: python tests/bench/bench_plan.py. Ratios are of one run on one machine: time against the
time that loading the optimiser takes in a fresh interpreter, cost against the order that takes
each line where its own price is least (delivery and import counted the same).
"""

from __future__ import annotations

import random
import statistics
import subprocess
import sys
import time
from decimal import Decimal
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from builds_kit import Shop, amount, build, line, part, rates
from plan_worlds import row

from service.builds.cost import price_in
from service.builds.offers import Market
from service.builds.plan import Asked, make_plan

COUNTRIES = ("NL", "DE", "FR", "GB", "NL", "DE")


def market(lines: int, shops: int, seed: int) -> tuple[Market, Asked]:
    """Parts of 2 to 50 EUR, each sold by some six in ten shops; steps of mass, free delivery."""
    rng = random.Random(seed)
    parts = [part(f"p{n}", mass=amount(f"{rng.randint(5, 200)} g")) for n in range(lines)]
    shop = Shop(*parts)
    for number in range(shops):
        country = COUNTRIES[number % len(COUNTRIES)]
        currency = "GBP" if country == "GB" else "EUR"
        fee, free = f"{rng.randint(4, 9)}.95", str(rng.randint(50, 150))
        table = (row("NL", fee, up_to_g="5000", free_from=free), row("NL", "14.95"))
        shop.supplier(f"s{number}", country=country, currency=currency, shipping=table)
        for one in parts:
            if rng.random() < 0.6 or number == 0:
                price = 10 ** rng.uniform(0.3, 1.7) * rng.uniform(0.9, 1.2)
                shop.sell(one.key, "1 piece", f"{price:.2f}", f"s{number}", currency=currency)
    wanted = build(*(line(one.key, f"{rng.randint(1, 4)} piece") for one in parts))
    return Market(shop.view(destination="NL", rates=rates(GBP="0.8726")), "EUR"), Asked(wanted)


def loading() -> float:
    """Seconds that a fresh interpreter takes to load the optimiser, less an empty one."""

    def took(code: str) -> float:
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
        return time.perf_counter() - start

    runs = [took("import highspy") - took("pass") for _ in range(3)]
    return statistics.median(runs)


def main() -> None:
    base = loading()
    print(f"loading the optimiser: {base:.2f} s, taken as 1")
    for lines, shops in ((20, 5), (40, 6), (60, 8)):
        times, dearer, proved = [], [], 0
        for seed in range(5):
            where, asked = market(lines, shops, seed)
            greedy = price_in(asked.build, where).totals.delivered or Decimal(0)
            start = time.perf_counter()
            plan = make_plan([asked], where, weigh=0.0)
            times.append(time.perf_counter() - start)
            dearer.append(float(greedy / plan.total - 1) * 100)
            proved += plan.proved
        print(
            f"{lines} lines x {shops} shops: {statistics.median(times) / base:.1f} "
            f"({min(times) / base:.1f} to {max(times) / base:.1f}), proved {proved} of 5, "
            f"line by line dearer by {min(dearer):.1f} to {max(dearer):.1f} %"
        )


if __name__ == "__main__":
    main()
