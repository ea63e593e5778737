# ruff: noqa: E501 (messages stand whole on one line)
"""One change in a case file of station_folder.py, and every problem that it makes, with its full text. Written and read by hand."""

from __future__ import annotations

from stationtest import plugins

CASE_PROBLEMS: list[tuple[str, str, list[str]]] = [
    (
        "own_channel_only: yes",
        "own_chanel_only: yes",
        [
            (
                "cases/a.case.yaml:8:14: cases.REC-01.expect.own_chanel_only: there is no expectation "
                "`own_chanel_only`; did you mean `own_channel_only`?; allowed agrees, alike, channels, count, drift, "
                f"held, level, margin, neighbours, no_channel, only_channels, order and {len(plugins.EXPECTATIONS) - 12} more; if a plugin brings it, "
                "`stationtest plugins` lists those present [unknown-name]"
            ),
        ],
    ),
    (
        "own_channel_only: yes",
        "own_channel_only: no",
        [
            (
                "cases/a.case.yaml:8:32: cases.REC-01.expect.own_channel_only: only `yes` says something here; leave "
                "the line out otherwise; found no; allowed yes [wrong-value]"
            ),
        ],
    ),
    (
        "own_channel_only: yes",
        "channels: [3]",
        [
            (
                "cases/a.case.yaml:8:25: cases.REC-01.expect.channels.1: there is no channel of this name; found 3; "
                "allowed 1, 2 [unknown-name]"
            ),
        ],
    ),
    (
        "own_channel_only: yes",
        "order: [mint, chamomile]",
        [
            (
                "cases/a.case.yaml:8:22: cases.REC-01.expect.order.1: there is no channel of this name; found mint; "
                "allowed 1, 2 [unknown-name]"
            ),
            (
                "cases/a.case.yaml:8:28: cases.REC-01.expect.order.2: there is no channel of this name; found "
                "chamomile; allowed 1, 2 [unknown-name]"
            ),
        ],
    ),
    (
        "own_channel_only: yes",
        "own_channel_only: yes, drift: {of: level, at_most: 2 %}",
        [
            ("cases/a.case.yaml:8:44: cases.REC-01.expect.drift.over: this key is missing [missing-key]"),
        ],
    ),
    (
        "own_channel_only: yes",
        "held: 50 ms",
        [
            (
                "cases/a.case.yaml:8:20: cases.REC-01.expect.held: a limit begins with `at least`; found 50 ms; "
                "allowed at least 100 ms [wrong-value]"
            ),
        ],
    ),
    (
        "own_channel_only: yes",
        "outputs: {flap: {is: maybe, from: box out}}",
        [
            (
                "cases/a.case.yaml:8:35: cases.REC-01.expect.outputs.flap.is: on or off is due here; found maybe; "
                "allowed on, off or as the set is [wrong-value]"
            ),
        ],
    ),
    (
        "own_channel_only: yes",
        "outputs: {flop: {is: on, from: box outt}}",
        [
            (
                "cases/a.case.yaml:8:24: cases.REC-01.expect.outputs.flop: there is no output of this name; did you "
                "mean `flap`?; found flop; allowed complete, flap [unknown-name]"
            ),
            (
                "cases/a.case.yaml:8:45: cases.REC-01.expect.outputs.flop.from: there is no input of this name; did "
                "you mean `box out`?; found box outt; allowed start, end, covered, event, box in, box out [unknown-name]"
            ),
        ],
    ),
    (
        "present: [mint, chamomile]",
        "present: [mint, camomile]",
        [
            (
                "cases/a.case.yaml:7:21: cases.REC-01.present.2: there is no target of this name; did you mean "
                "`chamomile`?; found camomile; allowed mint, chamomile, bare belt [unknown-name]"
            ),
        ],
    ),
    (
        "present: [mint, chamomile]",
        "present: {set: full box, lacking: mimt}",
        [
            (
                "cases/a.case.yaml:7:39: cases.REC-01.present.lacking: there is no member of the set of this name; "
                "did you mean `mint`?; found mimt; allowed each, any, mint, chamomile [unknown-name]"
            ),
            (
                "cases/a.case.yaml:8:32: cases.REC-01.expect.own_channel_only: this expectation speaks of a "
                "presentation, and the case presents sets [mixed-units]"
            ),
        ],
    ),
    (
        "present: [mint, chamomile]",
        "present: {set: full box, complete: yes}",
        [
            (
                "cases/a.case.yaml:8:32: cases.REC-01.expect.own_channel_only: this expectation speaks of a "
                "presentation, and the case presents sets [mixed-units]"
            ),
        ],
    ),
    (
        "present: [mint, chamomile]",
        "present: {set: full box}",
        [
            (
                "cases/a.case.yaml:7:5: cases.REC-01.present: a set is presented as exactly one of complete, "
                "lacking, contents and extra; found none [missing-key]"
            ),
            (
                "cases/a.case.yaml:8:32: cases.REC-01.expect.own_channel_only: this expectation speaks of a "
                "presentation, and the case presents sets [mixed-units]"
            ),
        ],
    ),
    (
        "present: [mint, chamomile]",
        "present: {mint, chamomile}",
        [
            (
                "cases/a.case.yaml:7:15: this key has no value; did you mean a list [ ] instead of { }?; found "
                "nothing; allowed `key: value` [no-value]"
            ),
            (
                "cases/a.case.yaml:7:21: this key has no value; did you mean a list [ ] instead of { }?; found "
                "nothing; allowed `key: value` [no-value]"
            ),
        ],
    ),
    (
        "evidence: {reliability: 95 %, confidence: 95 %, of: presentations}\n",
        "",
        [
            (
                "cases/a.case.yaml:3:3: cases.REC-01.evidence: this case does not say how much evidence it needs; "
                "give it, or the file, an `evidence:`; there is no built-in default [no-evidence]"
            ),
        ],
    ),
    (
        "reliability: 95 %",
        "reliability: 95",
        [
            (
                "cases/a.case.yaml:2:25: evidence.reliability: a bare number needs a unit: 95 %; found 95; allowed a "
                "number with its unit (%), such as 95 % [wrong-value]"
            ),
        ],
    ),
    (
        "reliability: 95 %",
        "reliability: 100 %",
        [
            (
                "cases/a.case.yaml:2:25: evidence.reliability: no number of trials can show this; found 100 %; "
                "allowed more than 0 % and at most 99.9999 % [wrong-value]"
            ),
        ],
    ),
    (
        "reliability: 95 %",
        "reliability: 99.9999999999 %",
        [
            (
                "cases/a.case.yaml:2:25: evidence.reliability: no number of trials can show this; found 99.9999999999 %; "
                "allowed more than 0 % and at most 99.9999 % [wrong-value]"
            ),
        ],
    ),
    (
        "of: presentations",
        "of: presentations, nonconforming: at most 100000000",
        [
            (
                "cases/a.case.yaml:2:83: evidence.nonconforming: so many accepted make a plan that nobody can present; "
                "found at most 100000000; allowed at most 0 up to at most 10000 [wrong-value]"
            ),
        ],
    ),
    (
        "reliability: 95 %, confidence: 95 %, of: presentations",
        "trials: 3, nonconforming: at most 3",
        [
            (
                "cases/a.case.yaml:2:38: evidence.nonconforming: a plan of 3 that accepts 3 nonconforming cannot fail; "
                "allowed fewer than 3 [contradiction]"
            ),
        ],
    ),
    (
        "reliability: 95 %",
        "reliability: 0.95",
        [
            (
                "cases/a.case.yaml:2:25: evidence.reliability: a bare number needs a unit: 95 %, if 0.95 of the whole is meant; "
                "found 0.95; allowed a number with its unit (%), such as 95 % [wrong-value]"
            ),
        ],
    ),
    (
        "reliability: 95 %",
        "reliability: 1",
        [
            (
                "cases/a.case.yaml:2:25: evidence.reliability: a bare number needs a unit: 100 %, if 1 of the whole is meant; "
                "found 1; allowed a number with its unit (%), such as 95 % [wrong-value]"
            ),
        ],
    ),
    (
        ", of: presentations",
        "",
        [
            (
                "cases/a.case.yaml:2:1: evidence.of: this key is missing; it says of what the reliability is "
                "claimed; allowed presentations, specimens [missing-key]"
            ),
        ],
    ),
    (
        "of: presentations",
        "of: specimens",
        [
            (
                "cases/a.case.yaml:2:1: evidence.presented: this key is missing; it says how often each specimen is "
                "presented [missing-key]"
            ),
        ],
    ),
    (
        "reliability: 95 %, confidence: 95 %, of: presentations",
        "runs: 1",
        [
            (
                "cases/a.case.yaml:2:1: cases.REC-01.evidence: `runs` counts whole runs, and this case is judged on "
                "each presentation [contradiction]"
            ),
        ],
    ),
    (
        "reliability: 95 %, confidence: 95 %, of: presentations",
        "duration: 10 min, events: none",
        [
            (
                "cases/a.case.yaml:2:22: cases.REC-01.evidence.duration: evidence by duration is for stretches "
                "between: present: {between: NAME} [contradiction]"
            ),
        ],
    ),
    (
        "../recordings/day1.csv",
        "../recordings/day2.csv",
        [
            (
                "cases/a.case.yaml:1:12: readings: there is no file recordings/day2.csv; "
                "did you mean recordings/day1.csv? [no-file]"
            ),
        ],
    ),
    (
        "../recordings/day1.csv",
        "../../outside.csv",
        [
            (
                "cases/a.case.yaml:1:12: readings: this path leaves the station folder; found "
                "../outside.csv; allowed files inside it, or --allow-outside [outside-folder]"
            ),
        ],
    ),
    (
        "../recordings/day1.csv",
        "a.case.yaml",
        [
            (
                "cases/a.case.yaml:1:12: readings: no entry under `recordings:` of the station says how "
                "this file is written; found cases/a.case.yaml; allowed recordings/*.csv [no-form]"
            ),
        ],
    ),
    (
        "  REC-01:",
        "  REC[01]:",
        [
            (
                "cases/a.case.yaml:4:3: cases.REC[01]: an id cannot hold `::`, `[` or `]`; found REC[01]; allowed "
                "such as REC-01 [wrong-value]"
            ),
        ],
    ),
    (
        "    title: Each sachet fires its own channel\n",
        "",
        [
            ("cases/a.case.yaml:4:3: cases.REC-01.title: this key is missing [missing-key]"),
        ],
    ),
    (
        "    title: Each sachet fires",
        "    title: Each: sachet fires",
        [
            (
                "cases/a.case.yaml:5:16: a colon with a blank behind it stands inside a value; put the value in "
                "quotes, or mend the indentation [unreadable]"
            ),
        ],
    ),
    (
        "    present: [mint, chamomile]\n",
        "    where: {hight: low}\n    present: mint\n",
        [
            (
                "cases/a.case.yaml:7:20: cases.REC-01.where.hight: there is no condition of this name; did you mean "
                "`height`?; found hight; allowed height, sensor, touching, specimen, grade, lot, made_by, confirmed_by, set, item, during, event and 2 more [unknown-name]"
            ),
        ],
    ),
    (
        "    present: [mint, chamomile]\n",
        "    where: {height: lo}\n    present: mint\n",
        [
            (
                "cases/a.case.yaml:7:21: cases.REC-01.where.height: `lo` is no value of height; did you mean `low`?; "
                "allowed low, high [unknown-name]"
            ),
        ],
    ),
    (
        "    present: [mint, chamomile]\n",
        "    rows:\n      - {present: mint}\n      - {id: mint, present: chamomile}\n      - {where: {height: low}}\n",
        [
            (
                "cases/a.case.yaml:9:9: cases.REC-01.rows.2.id: two rows have the id `mint`; the first is in line 8 "
                "[duplicate-name]"
            ),
            (
                "cases/a.case.yaml:10:9: cases.REC-01.rows.3.id: this key is missing; a row has an id, unless it "
                "presents one target [missing-key]"
            ),
        ],
    ),
    (
        "    title: Each",
        "    scene: x\n    titel: a\n    title: Each",
        [
            (
                "cases/a.case.yaml:5:12: cases.REC-01.scene: there is no file cases/x "
                "[no-file]"
            ),
            (
                "cases/a.case.yaml:6:5: cases.REC-01.titel: there is no key `titel` here; did you mean `title`?; "
                "allowed title, requirement, present, where, expect, evidence, basis, readings, scene, do, tags "
                "[unknown-key]"
            ),
        ],
    ),
    (
        "cases:\n",
        "cases: []\nx:\n",
        [
            ("cases/a.case.yaml:3:8: cases: `cases:` is a mapping of ids to cases [wrong-value]"),
            (
                "cases/a.case.yaml:4:1: x: there is no key `x` here; allowed language, readings, scene, evidence, basis, "
                "cases [unknown-key]"
            ),
        ],
    ),
    (
        "expect: {own_channel_only: yes}",
        "expect: own_channel_only",
        [
            (
                "cases/a.case.yaml:8:13: cases.REC-01.expect: `expect:` is a mapping of expectations; each is `name: "
                "what it asks`, such as `own_channel_only: yes` [wrong-value]"
            ),
        ],
    ),
    (
        "requirement: [URS-12, URS-13]",
        "requirement: [URS-12, URS-12x]",
        [
            (
                "cases/a.case.yaml:6:5: cases.REC-01.requirement: there is no requirement of this name; did you mean "
                "`URS-12`?; found URS-12x; allowed URS-12, URS-13 [unknown-name]"
            ),
        ],
    ),
    (
        "    expect:",
        "    tags: [a b]\n    expect:",
        [
            (
                "cases/a.case.yaml:8:5: cases.REC-01.tags: a tag is one word of letters, digits, `_` and `-`; found "
                "a b [wrong-value]"
            ),
        ],
    ),
    (
        "own_channel_only: yes",
        "level: {at_least: 30}",
        [
            (
                "cases/a.case.yaml:8:32: cases.REC-01.expect.level.at_least: a bare number needs a unit: 30 %; found "
                "30; allowed a number with its unit (%), such as 95 % [wrong-value]"
            ),
        ],
    ),
    (
        "own_channel_only: yes",
        "response: {at_most: 15 ms}",
        [
            ("cases/a.case.yaml:8:24: cases.REC-01.expect.response.from: this key is missing [missing-key]"),
        ],
    ),
    (
        "own_channel_only: yes",
        "own_channel_only: yes, drift: {of: level, over: 3, at_most: 2 %}",
        [
            (
                "cases/a.case.yaml:8:5: cases.REC-01.expect: expectations of one case speak of the same unit of "
                "trial; found own_channel_only of a presentation and drift of a run; allowed one unit, or two cases "
                "[mixed-units]"
            ),
        ],
    ),
    (
        "    present: [mint, chamomile]\n",
        "    present: [mint, mint]\n",
        [
            (
                "cases/a.case.yaml:7:5: cases.REC-01.present: a target stands twice in this list; found mint and "
                "mint [duplicate-name]"
            ),
        ],
    ),
    (
        "    present: [mint, chamomile]\n",
        "    present: {between: bare belt, lacking: each}\n",
        [
            ("cases/a.case.yaml:7:44: cases.REC-01.present.lacking: this belongs to `set:` [contradiction]"),
        ],
    ),
    (
        "    present: [mint, chamomile]\n",
        "    present: {set: full box, extra: hibiscus}\n    where: {sensor: lid, touching: maybe}\n",
        [
            (
                "cases/a.case.yaml:7:37: cases.REC-01.present.extra: there is no target of this name; found "
                "hibiscus; allowed any, mint, chamomile, bare belt [unknown-name]"
            ),
            ("cases/a.case.yaml:8:21: cases.REC-01.where.sensor: `lid` is no value of sensor; allowed sachet [unknown-name]"),
            (
                "cases/a.case.yaml:8:36: cases.REC-01.where.touching: `maybe` is no value of touching; allowed yes, "
                "no [unknown-name]"
            ),
            (
                "cases/a.case.yaml:9:32: cases.REC-01.expect.own_channel_only: this expectation speaks of a "
                "presentation, and the case presents sets [mixed-units]"
            ),
        ],
    ),
    (
        "of: presentations",
        "of: presentations, presented: 5",
        [
            ("cases/a.case.yaml:2:79: evidence.presented: this key belongs to `of: specimens` [contradiction]"),
        ],
    ),
    (
        "of: presentations",
        "of: presentations, events: none",
        [
            ("cases/a.case.yaml:2:76: evidence.events: this key belongs to `duration` [contradiction]"),
        ],
    ),
    (
        "of: presentations",
        "of: presentations, nonconforming: 0",
        [
            (
                "cases/a.case.yaml:2:83: evidence.nonconforming: a limit begins with `at most`; found 0; allowed at "
                "most 0 [wrong-value]"
            ),
        ],
    ),
    (
        "of: presentations",
        "of: presentations, not_judged: at most 5",
        [
            (
                "cases/a.case.yaml:2:80: evidence.not_judged: a bare number needs a unit: 5 %; found 5; allowed a "
                "number with its unit (%), such as 95 % [wrong-value]"
            ),
        ],
    ),
    (
        "of: presentations",
        "of: presentations, trials: 20",
        [
            (
                "cases/a.case.yaml:2:1: evidence: evidence is exactly one of reliability, trials, duration and runs; "
                "found reliability and trials [contradiction]"
            ),
        ],
    ),
    (
        "[../recordings/day1.csv]",
        "[../recordings/day1.csv, ../recordings/day1.csv]",
        [
            (
                "cases/a.case.yaml:1:36: readings: this recording is named twice; found "
                "../recordings/day1.csv [duplicate-name]"
            ),
        ],
    ),
    (
        "readings: [../recordings/day1.csv]\n",
        "",
        [
            (
                "cases/a.case.yaml:3:3: cases.REC-01.readings: this key is missing; it names the recordings on which "
                "the case, or every case of the file, is judged [missing-key]"
            ),
        ],
    ),
    (
        "    title: Each",
        "    basis: hand\n    title: Each",
        [
            (
                "cases/a.case.yaml:5:12: cases.REC-01.basis: this word is not known here; did you mean `by hand`?; "
                "found hand; allowed recorded, by hand, computed, simulated [wrong-value]"
            ),
        ],
    ),
    (
        "  REC-01:\n",
        "  EMPTY: text\n  REC-01:\n",
        [
            ("cases/a.case.yaml:4:3: cases.EMPTY: a case is a mapping with `title`, `present` and `expect` [wrong-value]"),
        ],
    ),
]
