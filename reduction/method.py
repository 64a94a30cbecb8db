"""The method in short, which version of it made a number, and what each version changed.

Docstrings elsewhere cite these sections as "Method §n".

§1 Room heat balance. The room's air and what is in it, out to the inner face of the envelope and to the unit's
openings, averaged over a window, in W and positive where heat enters the room; what enters and is not stored is
what the unit removed (1)::

    Q_total = ΣP_electric + Q_people + Σ UA·(T_neighbour − T_room) + Q_sun + Q_infiltration + Q_mass
              + W_r·(h_w1 − h_w2) − C·dT_room/dt

It has the form of the room side of a room calorimeter (ISO 5151, ASHRAE 16) with the storage, infiltration and slow
mass that an ordinary room adds. The effect is net: the unit's own fan is in it already. Slow mass is heat from walls
that still follow a past change of temperature; the radiant share of a heater warms surfaces before it warms air.
Latent part K1·W_r, K1 = 2460 kJ/kg; where moisture is unknown the result is sensible only and a lower bound.
COP = Q/P and EER = 3.412142·COP in Btu/(W·h), at one condition; neither is a seasonal figure.

§2 The room. UA from a run held warm without the unit, C and slow stores from its decay, by one regression with
covariance; the number of stores by evidence, residuals shown, and no UA without a temperature difference. Without such
a run, a stated band.

§3 Sensors and clocks. Limits of offset and gain, resolution, place, time constant, dated calibrations; clock offset and
drift of a file estimated from shared events, offered, and applied only when confirmed. Faults are found and said.

§4 Windows. Slopes, ranges and scatter inside limits that are data with a source, for at least half an hour; steps in
unit power part windows; ends snap to whole heater cycles; a hand-made window carries its reason.

§5 Uncertainty. JCGM 100 with covariance and effective degrees of freedom, the interval from the distribution of the sum
of errors, confirmed by JCGM 101 draws; means of samples that remember each other; errors of one instrument shared by
all its points.

§6 Cross-checks. Indoor air, outdoor air, energy counters against power, room sensors against each other.

§7 Limits. From evidence: at full speed, coil near freezing, reduced speed, cycling, not steady, unit off, cannot tell;
near freezing, the capacity in a warmer room is an interval.

§8 Claims. Published performance maps or the unit's own bring a point to a rating condition, with an uncertainty that
grows with distance; the shortfall in ordered steps that sum exactly; conformance by JCGM 106.

§9 Seasons. CEER, bins, own climate and price; what was not measured is named and bounded. A portable's SACC and CEER:
the net effect with duct heat and drawn-in air put back, brought to the procedure's state, and charged by its rule.

§10 Comparison. Like conditions, repeats pooled with their covariance and no weight below nothing, an order only where
it is at least 95 % probable.

§11 Plans. The same engine run forward, with cautions at the step where they matter.
"""

METHOD_VERSION = "1.1"

HISTORY: dict[str, str] = {
    "1.0": "First version: room heat balance with envelope, storage and slow mass; GUM budget; cross-checks; limits.",
    "1.1": (
        "The slow mass's error is shared between the windows of a session and the sessions of a room, so differences "
        "and pooled repeats are known as well as they are. Errors that points share no longer average out where "
        "several points make one rating, surface or season. "
        "Conductances that one run told together keep their correlation. Heat that coils or air "
        "cannot carry is refused. "
        "Latent and sensible parts carry what the convention K1 leaves open between them. "
        "Variable-speed CEER weighs its four tests by 0.08, 0.20, 0.33 and 0.39, as the rule does, not by hours. "
        "The slow mass takes its time constants as they are, not between tabulated ones, which moves it by up to 0.3 W."
        " The interval of a capacity is taken from the distribution of the sum of its errors, so limits that lead a "
        "budget no longer stretch it by k = 2: k falls to 1.65 for one limit alone and by 0.3 % where plugs matter "
        "little. Where nothing switches, the slope of the room is as sure as its own samples show, which narrows short "
        "windows of a calm room by some per cent. Weather that moves in a log is taken to have moved twice as much "
        "before it, and the slow mass is less sure for it; elsewhere its u moves by up to 4 %. "
        "Pooled repeats stay within their values where a shared error outweighs what each has of its own. A portable "
        "whose ducts are stated gets its SACC and CEER. A humidity below 1 % is taken for a share of one, not for a "
        "dry room."
        " Time that declared sun, a visit or a door seen in the air disturbs no longer speaks for the slow mass, which "
        "took such heat for its own. A flow of weighed water that is not steady is taken from its first and last "
        "reading, not as refills of the vessel. "
        "What a room's walls take up is taken from layered walls solved exactly, by construction; what its air and "
        "furniture hold, without a run that tells it, from furniture alone, less than half of before. What radiant "
        "heat has left in walls counts in full. A heater turned by degrees speaks for the slow mass like a constant "
        "one. A room newly come to its temperature is less sure, by up to two thirds two hours after a change of set "
        "point; windows soon after a start share less of their error, late ones more."
    ),
}
