"""Engine logs as they really look: read right, cleaned, and freed from trims and corrections."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from distrib.calibration.cells import into_cells
from distrib.calibration.clean import steady_windows
from distrib.calibration.log import LOG_WARNINGS, fill_gaps, read_log
from distrib.calibration.mapping import read_log_mapping
from distrib.errors import InputError

from .logs import AIR, LOG_MAPPING, TRIMS, LogText, lambda_rows, write_log


def _mapping(tmp_path: Path, text: str = LOG_MAPPING) -> Path:
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    return path


WAYS = {
    "plain": (LogText(), ""),
    "semicolon and decimal comma": (LogText(";", ","), '[file]\ndecimal = ","\n'),
    "tabs": (LogText("\t"), ""),
    "byte-order mark": (LogText(bom=True), ""),
    "no metadata, no units": (LogText(metadata=(), units=None), ""),
    "windows line ends": (LogText(newline="\r\n"), ""),
    "utf-16": (LogText(encoding="utf-16"), ""),
    "windows latin units": (
        LogText(units="s,rpm,kPa,°C,-,lambda,lambda,lambda,lambda,%", encoding="cp1252"), ""
    ),
}


@pytest.mark.parametrize("way", WAYS)
def test_every_way_of_writing_gives_the_same_log(tmp_path: Path, way: str) -> None:
    how, extra = WAYS[way]
    mapping = read_log_mapping(_mapping(tmp_path, LOG_MAPPING + extra))
    log = read_log(write_log(tmp_path / "log.csv", how), mapping)
    truth = np.array(lambda_rows())
    assert log.cylinders == (1, 2, 3, 4)
    assert np.allclose(log.time_s, truth[:, 0], rtol=1e-9)
    assert np.allclose(log.lambda_, truth[:, 5:9].T, rtol=1e-9)
    assert np.allclose(log.pressure_pa, 2.0e5, rtol=1e-12)  # 100 kPa gauge over 100 kPa
    assert log.others["coolant"][0] == pytest.approx(313.15)
    assert np.all(log.trim_percent[:, 0] == TRIMS) and np.all(log.loop_percent == 1.0)
    assert log.warnings == LOG_WARNINGS


def test_windows_give_air_without_trims_and_correction(tmp_path: Path) -> None:
    mapping = read_log_mapping(_mapping(tmp_path))
    log = read_log(write_log(tmp_path / "log.csv"), mapping)
    windows = steady_windows(log, mapping)
    # warm from 5 s on (coolant 70 degC), ramp from 20 to 30 s
    assert windows.start_s[0] == pytest.approx(5.0)
    assert not ((windows.start_s > 20.5) & (windows.stop_s < 29.5)).any()
    cells = into_cells(windows, mapping.cell_rpm, mapping.cell_pressure_pa)
    for row, air in ((0, AIR), (1, AIR[::-1])):
        lam = cells.lambda_base[row, 0]
        assert np.allclose(lam / lam.mean(), air, rtol=1e-9)
        assert lam.mean() == pytest.approx(0.8, rel=1e-9)
    assert cells.windows.min() >= 2 and np.all(cells.spread < 1e-9)
    assert any(e.what == "warm-up" and e.count == 100 for e in windows.exclusions)


def test_noise_is_covered_by_the_stated_error(tmp_path: Path) -> None:
    """Cells of a log with 1 % sample noise lie within a few stated errors of the truth."""
    mapping = read_log_mapping(_mapping(tmp_path))
    log = read_log(write_log(tmp_path / "log.csv", LogText(noise=0.01), seed=5), mapping)
    cells = into_cells(steady_windows(log, mapping), mapping.cell_rpm, mapping.cell_pressure_pa)
    z = (cells.lambda_base[:, 0] / 0.8 - np.stack([AIR, AIR[::-1]])) / (cells.sigma[:, 0] / 0.8)
    assert np.abs(z).max() < 3.5


def test_saturated_misfiring_and_cut_samples_are_listed(tmp_path: Path) -> None:
    rows = lambda_rows()
    rng = np.random.default_rng(1)
    for k, row in enumerate(rows):
        if 100 <= k < 300:
            row[6] = 1.6  # cylinder 2 stuck rich-lean at the end of its range
        row[7] += rng.choice([0.0, 0.25], p=[0.8, 0.2])  # cylinder 3 misfires
        if 700 <= k < 720:
            row[4] = 1.0
    path = tmp_path / "log.csv"
    path.write_text("Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL\n" + "\n".join(
        ",".join(f"{v:.8g}" for v in row) for row in rows) + "\n", encoding="utf-8")
    mapping = read_log_mapping(_mapping(tmp_path))
    windows = steady_windows(read_log(path, mapping), mapping)
    listed = {(e.what, e.where) for e in windows.exclusions}
    assert ("window with a saturated sensor", "cylinder 2") in listed
    assert ("window with suspected misfire", "cylinder 3") in listed
    assert ("fuel cut", "rows of the log") in listed
    assert np.isnan(windows.lambda_base[:, 2]).all()
    assert np.isfinite(windows.lambda_base[:, 0]).all()
    assert not ((windows.start_s < 35.9) & (windows.stop_s > 35.0)).any()
    assert "misfire reads lean" in str(windows.exclusions[-1])


def test_total_pulse_trims_become_fuel_percent(tmp_path: Path) -> None:
    text = LOG_MAPPING.replace('on = "fuel"', 'on = "total pulse", dead_time = "1 ms"').replace(
        "[state]", 'pulse = { columns = ["P1", "P2", "P3", "P4"], cylinders = [1, 2, 3, 4], '
        'unit = "ms" }\n\n[state]')
    rows = lambda_rows()
    path = tmp_path / "log.csv"
    pulse = 2.0 * (1 + TRIMS / 100)
    path.write_text("Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL,P1,P2,P3,P4\n" + "\n".join(
        ",".join(f"{v:.8g}" for v in [*row, *pulse]) for row in rows) + "\n", encoding="utf-8")
    log = read_log(path, read_log_mapping(_mapping(tmp_path, text)))
    # 2 ms untrimmed with 1 ms dead: +2 % on the total is +4 % fuel
    assert np.allclose(log.trim_percent[:, 0], 2.0 * TRIMS)


def test_afr_needs_its_scale_and_is_divided_by_it(tmp_path: Path) -> None:
    text = LOG_MAPPING.replace('unit = "lambda"', 'unit = "AFR", scale = 14.7')
    rows = [[*row[:5], *(14.7 * v for v in row[5:9]), row[9]] for row in lambda_rows()]
    path = tmp_path / "log.csv"
    path.write_text("Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL\n" + "\n".join(
        ",".join(f"{v:.10g}" for v in row) for row in rows) + "\n")
    log = read_log(path, read_log_mapping(_mapping(tmp_path, text)))
    assert np.allclose(log.lambda_, np.array(lambda_rows())[:, 5:9].T, rtol=1e-9)
    with pytest.raises(InputError, match="scale: read nothing"):
        read_log_mapping(_mapping(tmp_path, LOG_MAPPING.replace('unit = "lambda"', 'unit = "AFR"')))


def test_slow_channel_repeats_until_its_next_value() -> None:
    nan = np.nan
    assert fill_gaps(np.array([1.0, nan, nan, 4.0, nan])).tolist() == [1, 1, 1, 4, 4]


def test_slow_lambda_channels_leave_blanks(tmp_path: Path) -> None:
    """Lambda at every fifth row only, speed at every second: medians stay, counts say so."""
    rows = lambda_rows()
    lines = ["Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL"]
    for k, row in enumerate(rows):
        cells = [f"{v:.10g}" for v in row]
        if k % 2:
            cells[1] = ""
        if k % 5:
            cells[5:9] = ["", "", "", ""]
        lines.append(",".join(cells))
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    mapping = read_log_mapping(_mapping(tmp_path))
    windows = steady_windows(read_log(path, mapping), mapping)
    cells_found = into_cells(windows, mapping.cell_rpm, mapping.cell_pressure_pa)
    lam = cells_found.lambda_base[0, 0]
    assert np.allclose(lam / lam.mean(), AIR, rtol=1e-9)
    assert windows.count.max() <= 21  # 5 s at 4 Hz


def test_cut_off_last_line_is_left_out_and_noted(tmp_path: Path) -> None:
    path = write_log(tmp_path / "log.csv")
    path.write_bytes(path.read_bytes() + b"60.00,50")
    log = read_log(path, read_log_mapping(_mapping(tmp_path)))
    assert len(log.time_s) == 1200
    assert any("cut off" in n for n in log.notes)


def test_log_that_never_holds_still_says_why(tmp_path: Path) -> None:
    text = LOG_MAPPING + (
        '[clean]\nrpm_within = 1\npressure_within = "0.1 kPa"\nshortest = "55 s"\n'
        'longest = "60 s"\n'
    )
    mapping = read_log_mapping(_mapping(tmp_path, text))
    with pytest.raises(InputError, match="no steady window of 55 s"):
        steady_windows(read_log(write_log(tmp_path / "log.csv"), mapping), mapping)


def test_correction_by_bank_is_taken_out_of_its_cylinders(tmp_path: Path) -> None:
    """Cylinders 1 and 3 at +1 %, 2 and 4 at -2 %: lambda x 1.01 and x 0.98 at the base map."""
    text = LOG_MAPPING.replace(
        'closed_loop = { column = "CL", unit = "percent" }',
        'closed_loop = { columns = ["CL", "CL2", "CL", "CL2"], cylinders = [1, 2, 3, 4], '
        'unit = "percent" }')
    path = tmp_path / "log.csv"
    path.write_text("Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL,CL2\n" + "\n".join(
        ",".join(f"{v:.10g}" for v in [*row, -2.0]) for row in lambda_rows()) + "\n")
    mapping = read_log_mapping(_mapping(tmp_path, text))
    windows = steady_windows(read_log(path, mapping), mapping)
    factor = np.array([1.01, 0.98, 1.01, 0.98])
    assert windows.lambda_base[0] == pytest.approx(
        windows.lambda_read[0] * (1.0 + TRIMS / 100.0) * factor, rel=1e-12)
    with pytest.raises(InputError, match="each name once"):
        read_log_mapping(_mapping(tmp_path, LOG_MAPPING.replace('"L1", "L4"', '"L3", "L4"')))


OTHER_WORDS = {
    "header again": lambda lines: [*lines[:500], lines[2], *lines[500:]],
    "units again": lambda lines: [*lines[:500], lines[2], lines[3], *lines[500:]],
    "comments": lambda lines: [*lines[:500], "# gear change", "// pit", *lines[500:]],
    "markers": lambda lines: [*lines[:500], "MARK 3", "lap 2;;", *lines[500:]],
    "a marker with its time": lambda lines: [*lines[:500], "24.81,MARK,,,,,,,,", *lines[500:]],
}


@pytest.mark.parametrize("what", OTHER_WORDS)
def test_lines_that_hold_no_data_are_left_out_and_told(tmp_path: Path, what: str) -> None:
    path = write_log(tmp_path / "log.csv")
    path.write_text("\n".join(OTHER_WORDS[what](path.read_text().splitlines())) + "\n")
    log = read_log(path, read_log_mapping(_mapping(tmp_path)))
    truth = np.array(lambda_rows())
    assert np.array_equal(log.time_s, truth[:, 0].round(10))
    assert np.allclose(log.lambda_, truth[:, 5:9].T, rtol=1e-9)
    assert any("left out" in n and "501" in n for n in log.notes)
    assert log.line[500] == {"header again": 506, "units again": 507, "comments": 507,
                             "markers": 507, "a marker with its time": 506}[what]


@pytest.mark.parametrize("unit", ["1/min", "min-1", "rev/min", "rpm"])
def test_ways_to_write_the_unit_of_speed(tmp_path: Path, unit: str) -> None:
    text = LogText(units="s,1/min,kPa,degC,-,lambda,lambda,lambda,lambda,%")
    mapping = LOG_MAPPING.replace('unit = "rpm"', f'unit = "{unit}"')
    log = read_log(write_log(tmp_path / "log.csv", text),
                   read_log_mapping(_mapping(tmp_path, mapping)))
    assert log.rpm[0] == 3000.0 and log.rpm[-1] == 5000.0


@pytest.mark.parametrize("date", ["", "2026-02-03 ", "2026-02-03T"])
def test_clock_times_run_over_midnight(tmp_path: Path, date: str) -> None:
    """From 23:59:40 on: the 60 s of the log pass midnight after 20 s."""
    path = write_log(tmp_path / "log.csv")
    lines = path.read_text().splitlines()
    for k in range(4, len(lines)):
        time, rest = lines[k].split(",", 1)
        second = (86380.0 + float(time)) % 86400.0
        lines[k] = (f"{date}{int(second // 3600):02d}:{int(second // 60) % 60:02d}:"
                    f"{second % 60.0:05.2f},{rest}")
    path.write_text("\n".join(lines) + "\n")
    mapping = LOG_MAPPING.replace('"Time", unit = "s"', '"Time", unit = "clock"')
    log = read_log(path, read_log_mapping(_mapping(tmp_path, mapping)))
    assert log.time_s - log.time_s[0] == pytest.approx(0.05 * np.arange(1200), abs=1e-6)
    assert len(log.restarts) == 0
    with pytest.raises(InputError, match='unit = "clock"'):
        read_log(path, read_log_mapping(_mapping(tmp_path)))


@pytest.mark.parametrize("bad", ["12:61:00", "12:30:", ":30:10", "12:30:10:5", "-1:30:00", "12"])
def test_clock_times_that_are_none(tmp_path: Path, bad: str) -> None:
    path = tmp_path / "log.csv"
    rows = [f"12:30:{k:02d},3000,100,90,0,0.8,0.8,0.8,0.8,0" for k in range(30)]
    rows[7] = bad + rows[7][8:]
    path.write_text("Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL\n" + "\n".join(rows) + "\n")
    mapping = LOG_MAPPING.replace('"Time", unit = "s"', '"Time", unit = "clock"')
    with pytest.raises(InputError, match="a time of day") as caught:
        read_log(path, read_log_mapping(_mapping(tmp_path, mapping)))
    assert [p.line for p in caught.value.problems] == [9]


@pytest.mark.parametrize("mark, decimal, cell", [
    (",", ".", '"3,000"'), ("space", ".", "3 000.0"), ("'", ".", "3'000"),
    (".", ",", '"3.000,0"')])
def test_marks_of_thousands(tmp_path: Path, mark: str, decimal: str, cell: str) -> None:
    rows = [f"{k};{cell};100;90;0;1;1;1;1;0" for k in range(30)]
    path = tmp_path / "log.csv"
    path.write_text("Time;RPM;Boost;ECT;Cut;L1;L2;L3;L4;CL\n" + "\n".join(rows) + "\n")
    mapping = LOG_MAPPING + f'\n[file]\nthousands = "{mark}"\ndecimal = "{decimal}"\n'
    assert np.all(read_log(path, read_log_mapping(_mapping(tmp_path, mapping))).rpm == 3000.0)
    for wrong in ("30 00", "3'0000", "1.00.000"):  # groups of three or nothing
        path.write_text(path.read_text().replace(cell, wrong, 1))
        with pytest.raises(InputError, match='column 2 "RPM"'):
            read_log(path, read_log_mapping(_mapping(tmp_path, mapping)))
        path.write_text(path.read_text().replace(wrong, cell, 1))
    with pytest.raises(InputError, match="thousands"):
        read_log_mapping(_mapping(tmp_path, mapping.replace(f'thousands = "{mark}"',
                                                            f'thousands = "{decimal}"')))


def test_a_clock_that_starts_again_makes_two_parts(tmp_path: Path) -> None:
    """The same minute twice: as many windows in each, and none over the seam."""
    path = write_log(tmp_path / "log.csv")
    lines = path.read_text().splitlines()
    once = steady_windows(read_log(path, read_log_mapping(_mapping(tmp_path))),
                          read_log_mapping(_mapping(tmp_path)))
    path.write_text("\n".join([*lines, *lines[4:]]) + "\n")
    mapping = read_log_mapping(_mapping(tmp_path))
    log = read_log(path, mapping)
    assert any("the clock starts again on line 1205: 2 parts" in n for n in log.notes)
    assert np.all(np.diff(log.time_s) > 0.0) and log.restarts.tolist() == [1200]
    twice = steady_windows(log, mapping)
    assert len(twice.rpm) == 2 * len(once.rpm)
    assert np.all(twice.stop_s - twice.start_s <= 5.1)


def test_air_fuel_ratios_and_stuck_sensors_are_recognised(tmp_path: Path) -> None:
    rows = lambda_rows()
    for row in rows:
        row[5:9] = [14.7 * v for v in row[5:9]]
    path = tmp_path / "log.csv"
    head = "Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL\n"
    path.write_text(head + "\n".join(",".join(f"{v:.8g}" for v in row) for row in rows) + "\n")
    with pytest.raises(InputError, match='an air-fuel ratio\\? Set unit = "AFR"'):
        read_log(path, read_log_mapping(_mapping(tmp_path)))
    afr = LOG_MAPPING.replace('unit = "lambda"', 'unit = "AFR", scale = 14.7')
    read_log(path, read_log_mapping(_mapping(tmp_path, afr)))
    rows = lambda_rows()
    for row in rows:
        row[6] = 0.8123
    path.write_text(head + "\n".join(",".join(f"{v:.8g}" for v in row) for row in rows) + "\n")
    with pytest.raises(InputError, match='lambda already\\? Set unit = "lambda"'):
        read_log(path, read_log_mapping(_mapping(tmp_path, afr)))
    mapping = read_log_mapping(_mapping(tmp_path))
    windows = steady_windows(read_log(path, mapping), mapping)
    assert np.isnan(windows.lambda_base[:, 1]).all()
    assert np.isfinite(windows.lambda_base[:, 0]).all()
    assert any(e.what == "window with a stuck sensor" and e.where == "cylinder 2"
               for e in windows.exclusions)


def test_what_stood_in_the_way_of_windows_is_told(tmp_path: Path) -> None:
    text = LOG_MAPPING + '[clean]\nrpm_within = 1\nshortest = "55 s"\nlongest = "60 s"\n'
    mapping = read_log_mapping(_mapping(tmp_path, text))
    with pytest.raises(InputError, match="warm-up, rows of the log: 100 left out") as caught:
        steady_windows(read_log(write_log(tmp_path / "log.csv"), mapping), mapping)
    assert "1100 of 1200 rows are left of 60 s, 3000 to 5000 rpm, 200 to 200 kPa" in str(
        caught.value)
