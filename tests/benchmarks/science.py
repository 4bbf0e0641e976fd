"""How fast the science answers: ``python -m tests.benchmarks.science``.

Each line is timed here and now beside something else done in the same run, so that the ratios can be
compared between machines. Targets: one carbonate solution 0.1 ms, a settled day 50 ms, a timetable 1 s,
``import servicedesk.science`` 0.3 s.
"""

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from time import perf_counter

from servicedesk.science.water.carbonate import solve
from servicedesk.science.water.day import Day, settled_day
from servicedesk.science.water.limewater import best_timetable
from servicedesk.science.worksheets import catalogue

DAY = Day(
    mass_kg=10232,
    salinity=35,
    temp_c=25.5,
    alkalinity_umol_kg=2700.0,
    photosynthesis_umol_kg_day=400.0,
    respiration_umol_kg_day=400.0,
    calcification_umol_kg_day=100.0,
    light_on_h=9,
    light_off_h=21,
    exchange_per_h=0.5,
    room_pco2_uatm=550.0,
)


def median_ms(work: Callable[[], object], repeats: int) -> float:
    """Median time of one call in milliseconds, after one call to warm up."""
    work()
    times = []
    for _ in range(repeats):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return sorted(times)[len(times) // 2] * 1000


def oracle() -> object:
    """The same single solution by an independent package."""
    import PyCO2SYS

    return PyCO2SYS.sys(par1=2700, par2=2300, par1_type=1, par2_type=2, salinity=35, temperature=25.5)


def probes_one_by_one() -> None:
    """The probes of one round of the timetable, each as a day of its own."""
    for hour in range(25):
        settled_day(replace(DAY, limewater_l=tuple(2.1 if each == hour else 2.0 for each in range(24))))


def main() -> None:
    single = median_ms(lambda: solve(35, 25.5, alkalinity_umol_kg=2700, dic_umol_kg=2300), 2000)
    other = median_ms(oracle, 5)
    settled = median_ms(lambda: settled_day(DAY), 40)
    search = median_ms(lambda: best_timetable(DAY, litres_day=50, pump_l_h=12, band=(8.0, 8.4)), 5)
    apart = median_ms(probes_one_by_one, 3)
    loading = median_ms(lambda: subprocess.run([sys.executable, "-c", "import servicedesk.science"], check=True), 5)
    bare = median_ms(lambda: subprocess.run([sys.executable, "-c", "pass"], check=True), 5)
    sheets = median_ms(catalogue.all_worksheets, 3)
    print(f"carbonate solution   {single:9.4f} ms   {other / single:8.0f} times faster than PyCO2SYS")  # noqa: T201
    print(f"settled day          {settled:9.2f} ms   {settled / single:8.0f} carbonate solutions")  # noqa: T201
    print(f"limewater timetable  {search:9.1f} ms   one round of probes one by one: {apart:.0f} ms")  # noqa: T201
    print(f"import               {loading - bare:9.1f} ms   beyond an empty interpreter ({bare:.0f} ms)")  # noqa: T201
    print(f"catalogue, loaded    {sheets:9.4f} ms   {len(catalogue.all_worksheets())} worksheets")  # noqa: T201


if __name__ == "__main__":
    main()
