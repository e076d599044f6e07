"""From the summary's plain data to what the page prints: tables of a limit state, of replacements, of indices."""

from typing import Any

from frame2d.report.numbers import number, percent, printed

#: Indices that are printed, in this order; `summary.json` holds all.
PRINTED_INDICES = (
    "nrmse_range", "nrmse_rms", "signal_energy_error", "peak_error", "positive_peak_error", "negative_peak_error",
    "largest_difference", "residual_difference", "sprague_geers_magnitude", "sprague_geers_phase", "fei_amplitude",
    "fei_delay", "correlation_delay", "tracking_indicator", "envelope_score", "phase_score", "work_error",
)  # fmt: skip


def _columns(*names: str | tuple[str, str]) -> list[dict[str, str]]:
    return [{"name": n, "unit": ""} if isinstance(n, str) else {"name": n[0], "unit": n[1]} for n in names]


def largest(values: dict[str, float]) -> tuple[str, float] | None:
    """Name and value of the largest |value|."""
    if not values:
        return None
    name = max(values, key=lambda key: abs(values[key]))
    return name, abs(values[name])


def glance(entries: list[dict[str, Any]]) -> dict[str, Any]:
    """One row a limit state."""
    rows = []
    for e in entries:
        drift, left = largest(e.get("peak_drift", {})), largest(e.get("residual_drift") or {})
        other = largest(e.get("reference", {}).get("peak_drift", {}))
        rows.append(
            [
                e["limit_state"], e.get("record"), e.get("factor"), percent(drift[1]) if drift else None,
                percent(other[1]) if other else None, _kilo(e.get("peak_base_shear_N")),
                percent(left[1]) if left else None, _use(e), _outcome(e), e.get("inspection", {}).get("verdict"),
            ]
        )  # fmt: skip
    columns = _columns(
        "Limit state", "Record", "Factor", ("Largest drift", "%"), ("of reference", "%"), ("Base shear", "kN"),
        ("Residual drift", "%"), "Most used criterion", "Test", "Verdict",
    )  # fmt: skip
    return {
        "caption": "The limit states at a glance; drifts are storey drift ratios.",
        "columns": columns,
        "rows": rows,
        "note": "A test that did not converge is neither a collapse nor a pass: it is not judged.",
    }


def _outcome(e: dict[str, Any]) -> str:
    return str(e.get("outcome", "–")).split(":")[0]


def _kilo(value: float | None) -> float | None:
    return None if value is None else value / 1e3


def _use(e: dict[str, Any]) -> str | None:
    findings = [f for f in e.get("inspection", {}).get("findings", []) if f["use"] is not None]
    if not findings:
        return None
    worst = max(findings, key=lambda f: f["use"])
    return f"{worst['criterion']}, {worst['thing']}: {percent(worst['use'])} %"


def facts(e: dict[str, Any]) -> list[dict[str, Any]]:
    """Main numbers of a limit state."""
    found = [
        {"name": "Record", "value": e.get("record"), "unit": ""},
        {"name": "Factor on the record", "value": e.get("factor"), "unit": ""},
        {"name": "Run as", "value": e.get("origin"), "unit": ""},
        {"name": "Outcome", "value": e.get("outcome"), "unit": ""},
    ]
    periods = e.get("periods_s") or [None, None, None]
    for name, value in zip(("before", "after", "with new devices"), periods, strict=False):
        if value is not None:
            found.append({"name": f"First period, small vibrations, {name}", "value": value, "unit": "s"})
    if e.get("energy_imbalance") is not None:
        found.append(
            {
                "name": "Largest energy imbalance over largest input",
                "value": percent(e["energy_imbalance"]),
                "unit": "%",
            }
        )
    if e.get("repeats"):
        found.append({"name": "Repeats, with new devices", "value": e["repeats"], "unit": ""})
    return found


def peaks_table(e: dict[str, Any]) -> dict[str, Any] | None:
    """Peaks of the test beside those of the reference."""
    reference = e.get("reference")
    rows = []
    for name, key, unit in (
        ("Base shear", "peak_base_shear_N", "N"),
        ("Roof displacement", "peak_roof_m", "m"),
    ):
        rows.append(_against(name, e.get(key), reference.get(key) if reference else None, unit))
    for floor, drift in e.get("peak_drift", {}).items():
        other = reference["peak_drift"].get(floor) if reference else None
        rows.append(_against(f"Storey drift below {floor}", drift, other, "%"))
    columns = _columns("Largest value of", "Test", "Reference", "Unit", ("Difference", "%"))
    if reference is None:
        rows = [[row[0], row[1], row[3]] for row in rows]
        columns = _columns("Largest value of", "Test", "Unit")
    return {"caption": f"Peaks at {e['limit_state']}.", "columns": columns, "rows": rows, "note": ""}


def _against(name: str, mine: float | None, other: float | None, unit: str) -> list[Any]:
    if unit == "%":
        shown, shown_other, printed_unit = percent(mine), percent(other), "%"
    else:
        shown, printed_unit = printed(mine, unit)
        shown_other = printed(other, unit)[0]
    difference = percent(mine / other - 1.0) if mine is not None and other else None
    return [name, shown, shown_other, printed_unit, difference]


def findings_table(e: dict[str, Any]) -> dict[str, Any] | None:
    """For each criterion the finding with the largest use."""
    findings = e.get("inspection", {}).get("findings", []) + e.get("fit", [])
    worst: dict[str, dict[str, Any]] = {}
    for f in findings:
        key = f["criterion"]
        known = worst.get(key)
        rank = (-1.0 if f["use"] is None else f["use"], f["demand"])
        if known is None or rank > (-1.0 if known["use"] is None else known["use"], known["demand"]):
            worst[key] = f
    if not worst:
        return None
    rows = []
    for f in worst.values():
        demand, unit = _quantity(f["demand"], f["unit"], f["criterion"])
        capacity = _quantity(f["capacity"], f["unit"], f["criterion"])[0]
        rows.append(
            [
                f["criterion"],
                f["thing"],
                demand,
                capacity,
                unit,
                percent(f["use"]),
                f["verdict"],
                f["definition"],
            ]
        )
    columns = _columns(
        "Criterion", "Decided by", "Demand", "Capacity", "Unit", ("Use", "%"), "Verdict", "Definition"
    )
    return {
        "caption": f"Inspection after {e['limit_state']}: for each criterion the thing that uses most of its capacity.",
        "columns": columns, "rows": rows, "note": "Not judged: nobody stated a capacity.",
    }  # fmt: skip


def _quantity(value: float | None, unit: str, criterion: str) -> tuple[str, str]:
    """Drifts and strains as %, the rest in units of print."""
    if unit == "-" and ("drift" in criterion or "imbalance" in criterion or "stiffness" in criterion):
        return percent(value), "%"
    if unit == "-" and "strain" in criterion:
        return (number(1e6 * value, 4) if value is not None else "–"), "µm/m"
    return printed(value, unit, 3)


def devices_table(e: dict[str, Any]) -> dict[str, Any] | None:
    """Every device: peaks, energy, wear, verdict."""
    devices = e.get("devices", {})
    if not devices:
        return None
    findings: dict[tuple[str, str], dict[str, Any]] = {
        (f["thing"], f["criterion"]): f for f in e.get("inspection", {}).get("findings", [])
    }
    reference = e.get("reference", {}).get("lost_J", {})
    errors = {
        q["quantity"]: [percent(row["value"]) for row in q["rows"]]
        for q in e.get("comparison", [])
        if q["quantity"] in devices
    }
    rows = []
    for name, d in devices.items():
        turns = d["unit"] == "rad"
        own = [findings.get((name, c)) for c in ("device deformation", "device energy", "device fatigue")]
        row = [name, _joined(d["peak_deformation"], d["unit"])]
        row.append(_joined(own[0]["capacity"], d["unit"]) if own[0] else "–")
        row.append(_joined(d["peak_force"], "N·m" if turns else "N"))
        row.append(number(own[1]["demand"] / 1e3, 3) if own[1] else "–")
        row.append(number(own[2]["demand"], 2) if own[2] else "–")
        row.append(number(d["lost_J"] / 1e3, 3))
        if reference:
            row.append(number(reference[name] / 1e3, 3) if name in reference else "–")
            row += errors.get(name, ["–", "–", "–"])
        verdicts = [f["verdict"] for f in own if f]
        rows.append([*row, next((v for v in ("exceeded", "within") if v in verdicts), "not judged")])
    columns: list[str | tuple[str, str]] = [
        "Device", "Largest deformation", "Capacity", "Largest force", ("Lost since new", "kJ"), "Fatigue damage",
        ("Lost in test", "kJ"),
    ]  # fmt: skip
    note = (
        "Fatigue damage: Miner's sum since the device was put in, 1 at fracture; – where no line is stated."
    )
    if reference:
        columns += [("by reference", "kJ"), ("NRMSE", "%"), ("Peak error", "%"), ("Work error", "%")]
        note += " NRMSE (over the range) and peak error of the force, work error of the whole loop, against the reference."
    return {
        "caption": f"Devices at {e['limit_state']}.", "columns": _columns(*columns, "Verdict"), "rows": rows, "note": note,
    }  # fmt: skip


def _joined(value: float | None, unit: str) -> str:
    """Number and unit in one cell."""
    shown, name = printed(value, unit, 3)
    return shown if value is None else f"{shown}\u00a0{name}"


def replacement_block(e: dict[str, Any]) -> dict[str, Any] | None:
    """Replacement log of one limit state as a block."""
    log = e.get("replacement")
    if not log:
        return None
    groups = "; ".join(f"{k}: {', '.join(group)}" for k, group in enumerate(log["groups"], start=1))
    how = (
        "While a group was out, the rest of the frame was let go and found its own equilibrium."
        if log["mode"] == "released"
        else "The frame was held where it stood while a group was out, and let go afterwards."
    )
    rows = []
    for swap in log["swaps"]:
        turns = swap["turns"]
        unit = "N·m" if turns else "N"
        rows.append(
            [swap["device"], swap["law"], swap["group"], _joined(swap["locked_in"], unit),
             _joined(_no_rounding(swap["first_force"]), unit), _joined(_no_rounding(swap["last_force"]), unit),
             _joined(swap["misfit"], "rad" if turns else "m"), number(swap["released"], 3)]
        )  # fmt: skip
    fits = {f["thing"]: f["verdict"] for f in e.get("fit", []) if f["criterion"] == "fit of new devices"}
    for row in rows:
        row.append(fits.get(f"{row[0]}: {row[1]}", "not judged"))
    columns = _columns(
        "Device", "Law", "Group", "Locked in", "New, put in", "New, works done", "Misfit", ("Energy released", "J"), "Fit",
    )  # fmt: skip
    drifts = [
        [name, percent(value), percent(log["drift_after"].get(name))]
        for name, value in log["drift_before"].items()
    ]
    moved = "smaller" if log["recentred"] else "not smaller"
    return {
        "title": f"After {e['limit_state']}",
        "text": [
            f"Devices in the order in which they were taken out and replaced, by group: {groups}. {how} "
            f"The largest residual drift went from {percent(log['largest_before'])} % to "
            f"{percent(log['largest_after'])} %: it is {moved} than before."
        ],
        "facts": [
            {"name": "Energy that left with the old devices", "value": log["released"] / 1e3, "unit": "kJ"},
            {"name": "Largest force to make a new device fit", "unit": "kN",
             "value": _no_rounding(max(log["fit_force"].values(), default=0.0)) / 1e3},
        ],
        "tables": [
            {"caption": f"Replacement log after {e['limit_state']}.", "columns": columns, "rows": rows,
             "note": "Misfit: by how much the connection of the new, stress-free device differs from the drawn geometry."},
            {"caption": "Residual storey drift ratios before and after the works.",
             "columns": _columns("Storey below", ("Before", "%"), ("After", "%")), "rows": drifts, "note": ""},
        ],
    }  # fmt: skip


def _no_rounding(force: float) -> float:
    """Less than a millinewton is what arithmetic leaves."""
    return force if abs(force) > 1e-3 else 0.0


def indices_table(e: dict[str, Any]) -> dict[str, Any] | None:
    """Indices of the global histories, test against reference."""
    quantities = [q for q in e.get("comparison", []) if q["quantity"] not in e.get("devices", {})]
    if not quantities:
        return None
    by = [{row["name"]: row for row in q["rows"]} for q in quantities]
    rows = [
        [name.replace("_", " "), *[_index(rows_of.get(name)) for rows_of in by]]
        for name in PRINTED_INDICES
        if any(name in rows_of for rows_of in by)
    ]
    names = [q["quantity"].capitalize() for q in quantities]
    return {
        "caption": f"Test against reference at {e['limit_state']}: indices as defined under “Indices and units”.",
        "columns": _columns("Index", *names), "rows": rows, "note": "",
    }  # fmt: skip


def _index(row: dict[str, Any] | None) -> str:
    """Value with its unit: ratios in %."""
    if row is None or row["value"] is None:
        return "–"
    value, unit = row["value"], row["unit"]
    if unit == "s":
        return f"{number(1e3 * value, 3)} ms"
    if unit == "-":
        if row["name"].startswith(("fei_amplitude", "correlation", "local_gain")):
            return number(value, 4)
        return f"{percent(value)} %"
    if unit in ("m", "N"):
        shown, name = printed(value, unit, 3)
        return f"{shown} {name}"
    if unit.startswith("("):
        factor, base = {"(m)²": (1e6, "mm²"), "(N)²": (1e-6, "kN²")}.get(unit, (1.0, unit))
        return f"{number(value * factor, 3)} {base}"
    return f"{number(value, 3)} {unit}"


def definitions(entries: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Definition of every index that is printed, x the reference and y the test."""
    seen: dict[str, list[str]] = {}
    for e in entries:
        for quantity in e.get("comparison", []):
            for row in quantity["rows"]:
                if row["name"] in PRINTED_INDICES and (row["name"] not in seen or len(quantity["rows"]) > 5):
                    seen[row["name"]] = [row["name"].replace("_", " "), row["definition"]]
    if not seen:
        return None
    rows = [seen[name] for name in PRINTED_INDICES if name in seen]
    return {
        "caption": "Definitions of the indices; x is the reference, y the test.",
        "columns": _columns("Index", "Definition"), "rows": rows, "note": "",
    }  # fmt: skip


UNITS_TEXT = (
    "Inside the library and in summary.json all numbers are SI: N, m, kg, s, rad, Pa, J; ratios are plain numbers. The "
    "report prints kN, mm, mrad, kJ and %. x points to the right, y up, rotations are counter-clockwise, tension is "
    "positive, displacements are relative to the ground."
)
