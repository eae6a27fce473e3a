"""The sentences by which a check of a way and the suggestion of loops give their reasons, in English.

As `tripplan.report.plan_sentences`, whose sentences are looked at after these. Tags and what is written on signs stay as they are.
"""

from __future__ import annotations

from tripplan.report.language import word

__all__ = ["CHECKED", "LOOPS"]

CHECKED: tuple[str, ...] = (
    # what closes a road to an outfit
    word("closed to the outfit: {said}"), word("closed to the outfit"), word("only for those who stop there: {said}"),
    word("only for those who stop there"), word("closed on these dates: {hours_written}"), word("closed on these dates"),
    word("in a wind warning on these dates"), word("in an area off limits"), word("ferry, not allowed"), word("toll road, not allowed"),
    word("height limit {size}, the outfit needs {size2} ({source})"), word("height limit {size}, the outfit needs {size2}"),
    word("width limit {size}, the outfit needs {size2} ({source})"), word("width limit {size}, the outfit needs {size2}"),
    word("length limit {size}, the outfit needs {size2} ({source})"), word("length limit {size}, the outfit needs {size2}"),
    word("weight limit {n} t, the outfit needs {n2} t ({source})"), word("weight limit {n} t, the outfit needs {n2} t"),
    word("axle load limit {n} t, the outfit needs {n2} t ({source})"), word("axle load limit {n} t, the outfit needs {n2} t"),
    word("height"), word("width"), word("length"), word("weight"), word("axle load"),
    word("barrier: {said}"), word("barrier"), word("{what} without a figure"), word("{what}, not said whether it is locked"),
    word("living street"), word("ford, depth not known"), word("ferry not said to take cars"),
    word("one-way that changes, or closed both ways"), word("{tag} (not understood)"),
    # what stands at a barrier, by the map's words for it
    word("gate"), word("gate, {tag}"), word("lift_gate"), word("lift_gate, {tag}"), word("bollard"), word("bollard, {tag}"), word("block"),
    word("chain"), word("fence"), word("wall"), word("cattle_grid"), word("toll_booth"), word("border_control"), word("entrance"),
    word("height_restrictor of {size}"), word("width_restrictor of {size}"),
    # what is signed and could not be read
    word("whether it is closed on these dates is not told: {hours_written}"),
    word("a condition that could not be read, as written: {tag}"), word("a limit that could not be read, as written: {tag}"),
    word("{what} below what the country's general rules let expect, without a figure ({tag})"),
    word("signed as recommended for four-wheel drive only ({tag})"),
    # surfaces
    word("presumed sealed: {said}"), word("presumed sealed"), word("surface unknown: {said}"), word("surface unknown"),
    word("unsealed: {said}"), word("unsealed"), word("{n} % likely sealed"), word("ferry deck"), word("ford"),
    word("no surface tag, and {tag}"), word("no surface tag"), word("a track without a surface tag"),
    word("tracktype=grade1 is solid, not always sealed"), word("{tag} (only two strips are paved)"),
    word("{tag} (grass between open pavers)"), word("{tag} (for feet)"), word("{tag} (a footbridge grate, not known to bear vehicles)"),
    word("{tag} (a sports surface, not a road)"), word("{tag} (not a known value)"), word("{tag} against {tag2}"),
    word("beyond the allowance at the end"), word("{tag} road, not at an end of the way"),
    # evidence for and against a seal
    word("a motorway may safely be assumed sealed (OSM wiki, Key:surface)"),
    word("{tag}: {km} seen sealed, {km2} unsealed"),
    word("{n} nearest blocks of {km} where it or lower classes are tagged: none unsealed"),
    word("{n} nearest blocks of {km} where it or lower classes are tagged: {n2} with something unsealed"),
    word("{n} nearest blocks of {km} where main roads are tagged: none unsealed but what ends among tracks"),
    word("too few {tag} roads here are tagged to presume: {km} sealed, {n} blocks near enough on a map with both kinds"),
    word("too few {tag} roads here are tagged to presume: {km} sealed, {n} blocks"),
    word("but bridges and tunnels are laid apart, and too few of them are tagged"),
    word("but it ends where no main road goes on, among tracks and without a street"),
    word("tagged roads like it disagree: {said}"),
    word("an unsealed road lies within two junctions, or one of its class within {km}"),
    word("an unsealed road carries the same ref or name"), word("so it is not presumed"),
    word("of its own too little is tagged to try the rule on, so only what goes on from sealed road is presumed"),
    word("with a part of its tags hidden the rule says nothing of the rest, so it was neither contradicted nor confirmed"),
    word("tags hidden and asked for again in {n} blocks: contradicted in {n2}"),
    word("tags hidden and asked for again: silent but for a block or two, and there not contradicted"),
    word("tags hidden and asked for again in {n} blocks: not contradicted (up to {n2} % of blocks may be)"),
    word("for it: {things}"), word("against it: {things}"),
    word("its road goes on sealed"), word("sealed at both ends"), word("an unsealed lane or track joins it"), word("a speed is posted"),
    word("its lanes are counted"), word("lit"), word("in a settlement"),
    word("no surface tagged; presumed no longer: near an unsealed road ({source})"),
    word("no surface tagged; presumed no longer: of one ref or name with an unsealed road ({source})"),
    # legs without a way
    word("{place} is on no road: {said}"), word("no sealed way between them: {said}"),
    word("{place} is on roads of {way} in all, {place2} on roads of {way2}, and nothing joins the two"),
    # tracks
    word("the record stops here and goes on further on"), word("no road of the map runs here"),
    word("no road of the map joins the roads before and after"),
    word("nothing is recorded over {km}, and the shortest road there would be"),
    word("driven against the one-way direction: {said}"), word("driven against the one-way direction"),
    word("so short that the noise of the record may explain it"),
    word("{n} points lie on the carriageway that leads the other way, {way} from the one in this direction"),
    word("noise, receiver or map may explain it: which of the two was driven is not told"),
    word("does not turn as it must (turn restriction, relation {number}), which holds at times only: {hours_written}"),
    word("turns as it must not (turn restriction, relation {number}), which holds at times only: {hours_written}"),
    word("turns round where it must not (turn restriction, relation {number}), which holds at times only: {hours_written}"),
    word("does not turn as it must (turn restriction, relation {number})"), word("turns as it must not (turn restriction, relation {number})"),
    word("turns round where it must not (turn restriction, relation {number})"), word("the noise of the record may explain it"),
    word("{speed} on average, {speed2} or more at the fastest"), word("{speed} on average"), word("{speed} allowed ({said})"),
    word("outfit limit"), word("national table"), word("posted for trailers"), word("posted"), word("class default"), word("curve"),
    word("rough surface"), word("town"),
    word("times run backwards at {n} point: no speed is judged there"), word("times run backwards at {n} points: no speed is judged there"),
    word("{n} of {n2} points have no time"),
    word("{n} parts, checked one after the other: the recorder was off in between, or several tracks share the file"),
)  # fmt: skip

LOOPS: tuple[str, ...] = (
    # themes: titles, whom they suit, what they give up
    word("The best of all"), word("Along the coast"), word("Into the hills"), word("An easy first trip"), word("No ferries"),
    word("Mains each night"), word("anyone with no theme in mind: the sights most worth the way"), word("people who want the sea"),
    word("people who want views, passes and waterfalls; expect bends and grades"),
    word("people new to a van: short drives, mains each night, two nights or more at a place"),
    word("people who would rather not go aboard with a van"),
    word("people who want heating, fridge and lights without a thought for gas and battery"),
    word("one stay of a single night"), word("one stay of a single night, and up to 3 hours of driving a day"),
    word("one stay of a single night, up to 3 hours of driving a day, and nights without mains"),
    word("one night without mains"), word("two nights without mains"),
    # why a loop or a sight is not there
    word("the base map of the region has no coast"), word("no sight lies within {km} of the coast"),
    word("nothing on the map speaks for hills"), word("no loop here takes a ferry"), word("there are no ferries in the region"),
    word("none of its own sights is worth the way"), word("its plan did not pass the re-check, a fault of tripplan's own"),
    word("to be avoided"), word("too far for the driving limits of all days"), word("the same as {place}"),
    word("not among the {n} that the search may choose from"),
    # why a sight is one of the theme
    word("{km} from the coast"), word("tagged {m} above the sea"), word("tagged {tag}"), word("a road of {n} % near it"), word("its name"),
    word("a viewpoint away from the coast"),
)  # fmt: skip
