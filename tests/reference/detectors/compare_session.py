# SPDX-License-Identifier: Apache-2.0
"""A whole session twice: what chip and review say against what its raw captures and windows hold.

Judged by ATX12V design guide 2.0: +12 V from 11.40 to 12.60 V (table 2). Release 30 mV inwards: the greater of 0.25 % of
12 V and four standard deviations of the noise.
"""

import numpy as np

import decision
from droop import droop
from excursion import excursions
from load_step import load_steps
from robust import huber_fit
from session import ABOVE, BELOW, MAX, MEAN_8, MIN, VARIANCE

P12V = 1  # jig.proto, Rail
NOMINAL_V = {1: 12, 2: 5, 3: 3.3}  # of the rails with current channels
CURRENT = 2  # jig.proto, ChannelKind
LOW_V, HIGH_V, HYSTERESIS_V = 11.40, 12.60, 0.030
LOW, HIGH = 1, 2  # link.proto, Side
RAW = "NumPy on the recording's captures"
WINDOWS = "NumPy on the recording's windows"
WIRE = "second decoder of the recording"


def limits(session, channel, side):
    """(limit, release) as codes: the first code that is not beyond it."""
    if side == "low":
        return session.code_at(channel, LOW_V), session.code_at(channel, LOW_V + HYSTERESIS_V)
    return session.code_at(channel, HIGH_V + 1e-6) - 1, session.code_at(channel, HIGH_V - HYSTERESIS_V + 1e-6) - 1


def windows_from_captures(session, table, seed):
    """Every window inside a capture, all columns, all channels."""
    for first, columns in session.captures:
        for channel, codes in columns.items():
            # A session may end while a capture is on the line: its channels then reach to different scans.
            end = first + len(codes)
            for k in np.flatnonzero((session.first >= first) & (session.first + session.scans <= end)):
                at, scans = int(session.first[k]) - first, int(session.scans[k])
                part, told = codes[at : at + scans], session.windows[channel, k]
                table.row("window: min, code", int(told[MIN]), int(part.min()), RAW, seed=seed)
                table.row("window: max, code", int(told[MAX]), int(part.max()), RAW, seed=seed)
                table.row("window: mean, 1/8 code", float(told[MEAN_8]), float(part.mean() * 8), RAW, 1.0, seed)
                # A cell of the variance is an eighth of an octave wide; the reader takes its middle.
                variance = float(part.var())
                scale = max(variance, 0.25)
                table.row("window: variance, of itself", float(told[VARIANCE]) / scale, variance / scale, RAW, 0.0635,
                          seed)
                if session.channels[channel].kind == 1 and session.channels[channel].rail == P12V:
                    table.row("window: scans below 11.40 V", int(told[BELOW]),
                              int(np.count_nonzero(part < limits(session, channel, "low")[0])), RAW, seed=seed)
                    table.row("window: scans above 12.60 V", int(told[ABOVE]),
                              int(np.count_nonzero(part > limits(session, channel, "high")[0])), RAW, seed=seed)


def excursions_from_captures(session, table, seed):
    """The chip's events that lie wholly inside a capture, to the scan; short ones that either may drop are left out."""
    for first, columns in session.captures:
        for channel in session.rails(P12V):
            if channel not in columns:
                continue
            codes = columns[channel]
            for side, number in (("low", LOW), ("high", HIGH)):
                found, _ = excursions([(first, codes)], side, *limits(session, channel, side), None, 16, 4)
                inner = [event for event in found
                         if event["start"] > first + 16 and event["end"] + 16 < first + len(codes)]
                for event in inner:
                    told = [each for each in session.excursions if each.channel == channel and each.side == number
                            and each.start_scan == event["start"]]
                    if any(storm.channel == channel and storm.side == number
                           and storm.first_scan <= event["start"] <= storm.last_scan for storm in session.storms):
                        continue  # in a storm the chip only counts
                    table.row("excursion in a capture: told by the chip", len(told), 1, RAW, seed=seed)
                    for each in told:
                        table.row("excursion: end, scan", each.end_scan, event["end"], RAW, seed=seed)
                        table.row("excursion: extreme, code", each.extreme_code, event["extreme"], RAW, seed=seed)
                        table.row("excursion: where, scan", each.extreme_scan, event["at"], RAW, seed=seed)
                        table.row("excursion: area, code scans", each.area_code_scans, event["area"], RAW, seed=seed)


def steps_from_captures(session, table, seed):
    """The chip's load steps inside a capture against the definition on its codes."""
    for first, columns in session.captures:
        for channel, codes in columns.items():
            if session.channels[channel].kind != CURRENT:
                continue
            found = load_steps(codes.astype(float), 1.0, 0.0)
            by_scan = {step["at"] + first: step for step in found}
            for told in session.steps:
                if told.channel != channel or not first + 64 <= told.scan < first + len(codes) - 64:
                    continue
                step = by_scan.get(told.scan)
                table.row("load step of the chip: found in the capture", int(step is not None), 1, RAW, seed=seed)
                if step is None:
                    continue
                table.row("load step: size, 1/16 code", told.step_code_16, round(step["step"] * 16), RAW, seed=seed)
                # The definition does not say which crossing counts where there are several: the chip may take any.
                half_way = told.t50_offset_256 / 256 + told.scan - 128
                level = codes[step["at"] - 16 : step["at"]].mean() + step["step"] / 2
                near = codes[step["at"] - 17 : step["at"] + 21] - level
                k = np.flatnonzero((near[:-1] < 0) != (near[1:] < 0))
                places = k + near[k] / (near[k] - near[k + 1]) + told.scan - 17
                table.row("load step: half way, scan", half_way, float(places[np.abs(places - half_way).argmin()]), RAW,
                          1 / 128, seed)


def settled_from_captures(session, table, seed):
    """The chip's settled means of all channels that a capture holds."""
    for first, columns in session.captures:
        end = first + len(next(iter(columns.values())))
        for told in session.settled:
            for scan, means in ((told.before_scan, told.before_code_8), (told.after_scan, told.after_code_8)):
                if first <= scan and scan + 32 <= end:
                    for channel, codes in columns.items():
                        mean = float(codes[scan - first : scan - first + 32].mean() * 8)
                        table.row("settled mean, 1/8 code", float(means[channel]), mean, RAW, 1.0, seed)


def droops_from_captures(session, result, table, seed):
    """Droops that the review measured in a capture, from the same codes."""
    for event in result["events"]:
        if event["kind"] != "droop" or event["source"] != "capture":
            continue
        begins, channel = round(event["startS"] * 32000), session.index[event["channel"]]
        current = session.index[session.channels[channel].current_channel]
        for first, columns in session.captures:
            at = begins - first
            if channel not in columns or not 32 <= at < len(columns[channel]) - 34:
                continue
            amps = session.volts(current, columns[current])
            step = next((each for each in load_steps(amps, 1.0, 0.0)
                         if each["t10"] is not None and int(each["t10"]) == at), None)
            if step is None:
                continue
            volts = session.volts(channel, columns[channel])
            following = at + round(event["durationS"] * 32000) if "recoveryS" not in event else min(at + 320, len(volts))
            measured = droop(volts, at, following, step["step"] > 0, 0.06)
            table.row("droop: step, A", event["stepA"], step["step"], RAW, 1e-6, seed)
            if measured["extreme_at"] - at == round(event["timeToMinimumS"] * 32000):
                table.row("droop: deviation, V", event["deviationV"], measured["deviation"], RAW, 1e-6, seed)
            break


def resistances(session, result, table, seed):
    """Output resistance from the chip's settled means before each step: Huber's fit on the row's own current and those it
    says it took out. The review thins to one point a level and uses medians of slopes: the two must lie within the
    interval it prints. Settled: no step of any current within 4 ms before.
    """
    steps = np.array([step.scan for step in session.steps])
    points = [means for means in session.settled
              if not np.any((steps > means.before_scan - 128) & (steps < means.before_scan + 32))]
    for row in result["outputResistances"]:
        named = [row["currentChannel"], *row["takenOut"]]
        if row.get("value") is None or row["source"] != "chip" or not all(name in session.index for name in named):
            continue
        places = [session.index[row["channel"]], *(session.index[name] for name in named)]
        volts, *amps = (np.array([session.volts(place, means.before_code_8[place] / 8) for means in points])
                        for place in places)
        half = (row["intervalHigh"] - row["intervalLow"]) / 2
        expected = -huber_fit(np.column_stack([np.ones(len(volts)), *amps]), volts)[1]
        table.row("output resistance, half intervals", row["value"] / half, float(expected / half),
                  "NumPy on the recording's settled means", 1.0, seed)


def well_rated(session):
    """Windows round which, 20 ms either way, every rail drew less than 90 % of the label by the greatest of each current
    channel, and all together less than 90 % of the total and of each combined limit."""
    unit, watts = session.header.unit, {}
    quiet = np.ones(len(session.first), dtype=bool)
    for rail, nominal in NOMINAL_V.items():
        amps = sum(session.volts(index, session.windows[index, :, MAX].astype(float))
                   for index, channel in session.channels.items() if channel.kind == CURRENT and channel.rail == rail)
        watts[rail] = amps * nominal
        quiet &= amps < 0.9 * next(each.amps for each in unit.rails if each.rail == rail)
    for combined in unit.combined:
        quiet &= sum(watts.get(rail, 0) for rail in combined.rails) < 0.9 * combined.watts
    quiet &= sum(watts.values()) < 0.9 * unit.total_w
    spread = int(np.ceil(0.020 * 32000 / session.scans.min()))
    return np.convolve(~quiet, np.ones(2 * spread + 1), "same") == 0


def well_stepped(session):
    """Windows round which no load step of +12 V came near the one its limits are published for: ATX12V 2.0, Table 11, 40 %
    of the rated current, 60 % at the processor's plugs. Near: 95 % of it, steps of one output within a millisecond added
    up; round: 2 ms before a step to 12 ms after it."""
    rated = next(each.amps for each in session.header.unit.rails if each.rail == P12V)
    steps = [(step.scan, session.channels[step.channel].connector.startswith("processor"),
              session.scale[step.channel][2] * step.step_code_16 / 16)
             for step in session.steps if session.channels[step.channel].rail == P12V]
    calm = np.ones(len(session.first), dtype=bool)
    for scan, processor, amps in steps:
        together = sum(other for at, same, other in steps
                       if same == processor and abs(at - scan) < 32 and other * amps > 0)
        if abs(together) > 0.95 * (0.6 if processor else 0.4) * rated:
            calm &= (session.first + session.scans <= scan - 64) | (session.first >= scan + 384)
    return calm


def switched_on(session):
    """Windows with PWR_OK at its high level and PS_ON# not at its own throughout (TTL: 2.4 V and 2.0 V)."""
    pwr_ok, ps_on = session.index["pwr-ok"], session.index["ps-on"]
    return ((session.volts(pwr_ok, session.windows[pwr_ok, :, MIN].astype(float)) >= 2.4)
            & (session.volts(ps_on, session.windows[ps_on, :, MAX].astype(float)) < 2.0))


def extremes(session, result, table, seed):
    """Worst single sample of every +12 V connector: no further out than any, no further in than the worst of those
    windows round which the load was well inside the rating and stepped by less than the edition's step. Where it always
    did, these two are one.
    """
    rated, on = well_rated(session) & well_stepped(session), switched_on(session)
    for verdict in result["verdicts"]:
        if verdict["quantity"] != "dynamic" or verdict["rail"] != "+12V":
            continue
        channel = session.index[verdict["channel"]]
        low = verdict["side"] == "low"
        volts = session.volts(channel, session.windows[channel, :, MIN if low else MAX].astype(float))
        worst = min if low else max
        if not (on & rated).any():
            continue  # every window stood near a step or a load that limits may not hold for
        bounds = sorted((worst(volts[on]), worst(volts[on & rated])))
        table.row("worst sample of a verdict, V", verdict["value"], float(np.clip(verdict["value"], *bounds)), WINDOWS,
                  1e-6, seed)
        if not verdict["reason"]:
            ours = [round(verdict[name] * 1e6) for name in ("value", "expandedUncertainty", "biasBound", "limit")]
            expected = decision.decide(verdict["side"], ours[0], ours[1], ours[2], 0, False, ours[3])
            table.row("decision on the worst sample", verdict["decision"], expected, "guard band, by its definition",
                      seed=seed)


def short_runs(session, channel, column, spans):
    """Runs of windows with scans beyond the limit that no span of scans the chip has told of accounts for."""
    runs, inside = 0, False
    for k in range(len(session.first)):
        first, end = int(session.first[k]), int(session.first[k] + session.scans[k])
        beyond = session.windows[channel, k, column] > 0 and not any(
            start < end and first < stop for start, stop in spans)
        runs += int(beyond and not inside)
        inside = beyond
    return runs


def counts(session, result, table, seed):
    coverage = result["coverage"]
    table.row("frames of the jig", coverage["frames"], session.frames, WIRE, seed=seed)
    table.row("frames damaged", coverage["framesDamaged"], session.line.damaged, WIRE, seed=seed)
    table.row("scans seen", coverage["scansSeen"], int(session.scans.sum()), WIRE, seed=seed)
    for count in result["eventCounts"]:
        if count["kind"] == "load-step":
            channel = session.index[count["channel"]]
            table.row("load steps of a channel", count["listed"] + count["counted"],
                      sum(1 for step in session.steps if step.channel == channel), WIRE, seed=seed)
    for channel in session.rails(P12V):
        name = session.channels[channel].name
        told = [each for each in session.excursions if each.channel == channel]
        counted = [count for count in result["eventCounts"] if count["kind"] == "excursion" and count["channel"] == name]
        listed, short = (sum(count[word] for count in counted) for word in ("listed", "counted"))
        storms = [storm for storm in session.storms if storm.channel == channel]
        stormed = sum(storm.excursions for storm in storms)
        spans = [(each.side, each.start_scan, each.end_scan) for each in told]
        spans += [(storm.side, storm.first_scan, storm.last_scan + 1) for storm in storms]
        runs = sum(short_runs(session, channel, column, [span[1:] for span in spans if span[0] == side])
                   for column, side in ((BELOW, LOW), (ABOVE, HIGH)))
        if stormed:
            table.row("excursions of a channel in a storm", listed + short, len(told) + stormed + runs, WIRE, seed=seed)
        else:
            table.row("excursions listed of a channel", listed, len(told), WIRE, seed=seed)
            table.row("short excursions counted of a channel", short, runs, WINDOWS, seed=seed)
        listed = {round(event["startS"] * 32000): event for event in result["events"]
                  if event["kind"] == "excursion" and event["channel"] == name and event["source"] == "chip"}
        for each in told:
            event = listed.get(each.start_scan)
            if event is None:
                continue
            scale = abs(session.scale[channel][2])
            table.row("excursion: duration, s", event["durationS"], (each.end_scan - each.start_scan) / 32000, WIRE, 1e-9,
                      seed)
            table.row("excursion: extreme, V", event["extremeV"], session.volts(channel, each.extreme_code), WIRE, 1e-6,
                      seed)
            table.row("excursion: area, V s", event["areaVs"], each.area_code_scans * scale / 32000, WIRE, 1e-9, seed)


def compare_all(session, result, table, seed):
    windows_from_captures(session, table, seed)
    excursions_from_captures(session, table, seed)
    steps_from_captures(session, table, seed)
    settled_from_captures(session, table, seed)
    droops_from_captures(session, result, table, seed)
    resistances(session, result, table, seed)
    extremes(session, result, table, seed)
    counts(session, result, table, seed)
