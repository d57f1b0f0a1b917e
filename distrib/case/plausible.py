"""Checks across fields of engine, conditions, bench, fuel and limits: what cannot be meant."""

from __future__ import annotations

from itertools import pairwise

from distrib.case.draft import Draft, Node, Report
from distrib.case.stages import check_stages
from distrib.case.topology import mm

_INTAKE_SPAN_DEG = (150.0, 360.0)
_EXHAUST_SPAN_DEG = (150.0, 360.0)
_COOLER_THAN_AMBIENT_K = 30.0
_BELOW_AMBIENT_PA = 10e3


def check_plausible(draft: Draft, report: Report) -> None:
    """Report what does not fit together beside the metal."""
    engine, conditions = draft.one("engine"), draft.one("conditions")
    if engine is not None:
        _firing(engine, report)
        _crank(engine, report)
        _valve(engine, "intake_valve", report)
        _valve(engine, "exhaust_valve", report)
        _port_flow(engine, report)
    if conditions is not None:
        _conditions(conditions, report)
        if engine is not None:
            _exhaust_pressure(engine, conditions, report)
    _bench(draft, report)
    _fuel(draft, report)
    _limits(draft, report)


def _firing(engine: Node, report: Report) -> None:
    count, order = engine.get("cylinders"), engine.get("firing_order")
    intervals = engine.get("firing_intervals_deg")
    if count is None:
        return
    if order is not None and sorted(order) != list(range(1, count + 1)):
        twice = sorted({c for c in order if order.count(c) > 1})
        missing = [c for c in range(1, count + 1) if c not in order]
        beyond = sorted({c for c in order if c > count})
        parts = [
            f"{', '.join(map(str, found))} {what}"
            for found, what in (
                (twice, "twice"),
                (missing, "missing"),
                (beyond, "beyond the engine"),
            )
            if found
        ]
        read = "-".join(map(str, order))
        report(
            engine.place("firing_order"),
            read,
            f"each cylinder 1 to {count} once",
            "; ".join(parts),
        )
    if intervals is None or "firing_intervals_deg" not in engine.places:
        return
    place = engine.place("firing_intervals_deg")
    if len(intervals) != count:
        report(place, f"{len(intervals)} intervals", f"{count} intervals, one per cylinder")
    elif abs(sum(intervals) - 720.0) > 0.01:
        report(place, f"a sum of {sum(intervals):g} deg", "a sum of 720 deg")


def _crank(engine: Node, report: Report) -> None:
    stroke, rod = engine.get("stroke_m"), engine.get("rod_m")
    if stroke is None or rod is None or "rod_m" not in engine.places:
        return
    if not 1.2 * stroke <= rod <= 2.6 * stroke:
        read = f"{mm(rod)} with a stroke of {mm(stroke)}"
        allowed = f"{mm(1.2 * stroke)} to {mm(2.6 * stroke)}, 1.2 to 2.6 times the stroke"
        report(engine.place("rod_m"), read, allowed)


def _valve(engine: Node, attribute: str, report: Report) -> None:
    valve = engine.node(attribute)
    if valve is None:
        return
    bore, d, count = engine.get("bore_m"), valve.get("diameter_m"), valve.get("count")
    lift, stem = valve.get("max_lift_m"), valve.get("stem_diameter_m")
    if bore is not None and d is not None and count is not None:
        widest = bore * {1: 0.60, 2: 0.48, 3: 0.38}[count]
        if d > widest:
            read = f"{count} of {mm(d)} in a bore of {mm(bore)}"
            report(valve.place("diameter_m"), read, f"up to {mm(widest)} each")
    if lift is not None and d is not None and lift > 0.5 * d:
        read = f"{mm(lift)} with a head of {mm(d)}"
        report(valve.place("max_lift_m"), read, f"up to {mm(0.5 * d)}, half the head diameter")
    if stem is not None and d is not None and stem > 0.5 * d:
        report(valve.place("stem_diameter_m"), mm(stem), f"up to {mm(0.5 * d)}")
    if not valve.known("opens_deg", "closes_deg"):
        return
    duration = valve.get("opens_deg") + 180.0 + valve.get("closes_deg")
    low, high = _INTAKE_SPAN_DEG if attribute == "intake_valve" else _EXHAUST_SPAN_DEG
    if not low <= duration <= high:
        report(
            valve.place("closes_deg"),
            f"open for {duration:g} deg",
            f"{low:g} to {high:g} deg from opening to closing",
        )
    _lift_table(valve, duration, report)


def _lift_table(valve: Node, duration: float, report: Report) -> None:
    table = valve.get("lift_table")
    if table is None:
        return
    place, end, lift = valve.place("lift_table"), table[-1][0], valve.get("max_lift_m")
    if table[0][0] != 0.0 or abs(end - duration) > 2.0:
        read = f"a table from {table[0][0]:g} to {end:g} deg"
        report(place, read, f"0 to {duration:g} deg, from opening to closing")
    highest = max(item[1] for item in table)
    if lift is not None and abs(highest - lift) > 0.02 * lift:
        report(place, f"a greatest lift of {mm(highest)}", f"{mm(lift)}, the max_lift")


def _port_flow(engine: Node, report: Report) -> None:
    flow, valve = engine.node("port_flow"), engine.node("intake_valve")
    lift = flow.get("lift_m") if flow else None
    most = valve.get("max_lift_m") if valve else None
    if flow is not None and lift is not None and most is not None and lift > 1.5 * most:
        report(flow.place("lift_m"), mm(lift), f"up to {mm(1.5 * most)}, 1.5 times the max_lift")


def _conditions(node: Node, report: Report) -> None:
    ambient, charge = node.get("ambient_pressure_pa"), node.get("charge_pressure_pa")
    if ambient is not None and charge is not None and charge < ambient - _BELOW_AMBIENT_PA:
        report(
            node.place("charge_pressure_pa"),
            f"{charge / 1000:.4g} kPa absolute, {(ambient - charge) / 1000:.4g} kPa below ambient",
            f"at least {(ambient - _BELOW_AMBIENT_PA) / 1000:.4g} kPa absolute",
            "this is the pressure before the throttle; set throttle.plate_angle for part load",
        )
    if node.get("boosted") and not node.given("charge_temperature_k"):
        allowed = 'the charge temperature of a boosted engine, such as "45 degC"'
        report(node.place("charge_temperature_k"), "nothing", allowed)
    outside, inside = node.get("ambient_temperature_k"), node.get("charge_temperature_k")
    if outside is not None and inside is not None and inside < outside - _COOLER_THAN_AMBIENT_K:
        read = f"{inside - 273.15:.4g} degC with {outside - 273.15:.4g} degC outside"
        allowed = f"at least {outside - _COOLER_THAN_AMBIENT_K - 273.15:.4g} degC"
        report(node.place("charge_temperature_k"), read, allowed)
    wanted = node.get("wanted_rpm")
    if wanted is not None and not (len(wanted) == 2 and wanted[0] < wanted[1]):
        read = ", ".join(f"{n:g}" for n in wanted)
        report(node.place("wanted_rpm"), read, "two speeds, the lower one first")
    rpm = node.get("rpm")
    if rpm is not None and any(b <= a for a, b in pairwise(rpm)):
        read = ", ".join(f"{n:g}" for n in rpm)
        report(node.place("rpm"), read, "speeds that rise, each once")


def _exhaust_pressure(engine: Node, conditions: Node, report: Report) -> None:
    exhaust, ambient = engine.get("exhaust_pressure_pa"), conditions.get("ambient_pressure_pa")
    if exhaust is not None and ambient is not None and exhaust < 0.9 * ambient:
        read = f"{exhaust / 1000:.4g} kPa absolute"
        allowed = f"at least {0.9 * ambient / 1000:.4g} kPa absolute"
        report(engine.place("exhaust_pressure_pa"), read, allowed)


def _bench(draft: Draft, report: Report) -> None:
    bench, engine = draft.one("bench"), draft.one("engine")
    if bench is None:
        return
    head, lift = bench.get("head"), bench.get("valve_lift_m")
    if head == "fitted" and not bench.given("valve_lift_m"):
        report(bench.place("valve_lift_m"), "nothing", 'a valve lift, the head is "fitted"')
    if head == "removed" and bench.given("valve_lift_m"):
        read = "a valve lift" if lift is None else mm(lift)
        report(bench.place("valve_lift_m"), read, 'no valve lift, the head is "removed"')
    valve = engine.node("intake_valve") if engine else None
    flow = engine.node("port_flow") if engine else None
    if head == "fitted" and engine is not None and valve is None and flow is None:
        allowed = "a table [engine.intake_valve] or [engine.port_flow], the head is fitted"
        report(bench.place("head"), "no valve data", allowed)
    most = valve.get("max_lift_m") if valve else None
    if head == "fitted" and lift is not None and most is not None and lift > 1.001 * most:
        report(bench.place("valve_lift_m"), mm(lift), f"up to {mm(most)}, the max_lift")
    runners, count = bench.get("open_runners"), engine.get("cylinders") if engine else None
    if runners is not None and count is not None:
        if len(set(runners)) != len(runners):
            read = ", ".join(map(str, runners))
            report(bench.place("open_runners"), read, "each cylinder once")
        elif max(runners) > count:
            report(bench.place("open_runners"), f"cylinder {max(runners)}", f"1 to {count}")


def _fuel(draft: Draft, report: Report) -> None:
    fuel = draft.one("fuel")
    if fuel is None:
        return
    kind, share = fuel.get("kind"), fuel.get("ethanol_volume_fraction")
    if kind == "ethanol-blend" and not fuel.given("ethanol_volume_fraction"):
        allowed = 'a fraction, such as 0.85, the fuel is "ethanol-blend"'
        report(fuel.place("ethanol_volume_fraction"), "nothing", allowed)
    elif kind in ("gasoline", "methanol") and share:
        hint = 'a blend is kind "ethanol-blend"'
        report(
            fuel.place("ethanol_volume_fraction"), f"{share:g}", f'none, the fuel is "{kind}"', hint
        )
    for node in (fuel, *fuel.nodes.get("stages", ())):
        injector = node.node("injector")
        if injector is not None and not (
            injector.given("static_flow_kg_s") or injector.given("static_flow_m3_s")
        ):
            allowed = 'the static flow of one injector, such as "1000 cc/min"'
            report(injector.place("static_flow_kg_s"), "nothing", allowed)
    check_stages(fuel, draft.one("engine"), report)


def _limits(draft: Draft, report: Report) -> None:
    node = draft.one("limits")
    if node is None:
        return
    pairs = (
        ("watch_percent", "lean_percent"),
        ("prediction_cap_percent", "refuse_percent"),
        ("measured_cap_percent", "refuse_percent"),
        ("richen_cap_percent", "refuse_percent"),
        ("warn_percent", "refuse_percent"),
    )
    for smaller, larger in pairs:
        low, high = node.get(smaller), node.get(larger)
        if low is not None and high is not None and low > high:
            place = node.place(smaller if smaller in node.places else larger)
            report(place, f"{smaller} {low:g} above {larger} {high:g}", f"{smaller} up to {larger}")
