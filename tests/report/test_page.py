"""The page: complete, harmless, the same bytes for the same record, and made from the record alone."""

from __future__ import annotations

import base64
import copy
import hashlib
import re
import subprocess
import sys
import time
from html.parser import HTMLParser

import pytest
from report_figures import FORMULA, HOSTILE, LONG, UMLAUTS
from report_records import big_record, case, clean_record, record

from stationtest.commands.verdicts import print_verdicts
from stationtest.report import page, rows

VOID = {"meta", "link", "br", "path", "circle", "use", "img"}


class Seen(HTMLParser):
    """Tags, attributes and text of a page; complains about tags that do not nest."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


@pytest.fixture(scope="module")
def html() -> str:
    return page.render(record())


@pytest.fixture(scope="module")
def seen(html: str) -> Seen:
    return Seen(html)


def test_nothing_in_the_page_can_act_or_load(html: str, seen: Seen) -> None:
    assert {tag for tag, _ in seen.tags} <= {
        *[
            "html",
            "head",
            "meta",
            "title",
            "link",
            "style",
            "body",
            "a",
            "svg",
            "symbol",
            "circle",
            "path",
            "use",
            "header",
            "h1",
            "h2",
            "h3",
            "p",
            "div",
            "dl",
            "dt",
            "dd",
            "nav",
            "ol",
            "ul",
            "li",
            "main",
        ],
        *[
            "section",
            "article",
            "span",
            "strong",
            "br",
            "details",
            "summary",
            "table",
            "caption",
            "thead",
            "tbody",
            "tr",
            "th",
            "td",
            "figure",
            "figcaption",
            "pre",
            "code",
        ],
        *["desc", "text"],
    }
    for tag, attributes in seen.tags:
        assert not {name for name in attributes if name.startswith("on") or name in ("style", "src", "srcdoc", "action")}
        if "href" in attributes:
            assert attributes["href"] is not None
            assert attributes["href"].startswith("#") or (tag, attributes["href"]) == ("link", "data:,")
    assert "url(" not in html and "@import" not in html


def test_the_policy_allows_this_style_and_nothing_else(html: str, seen: Seen) -> None:
    style = html.split("<style>", 1)[1].split("</style>", 1)[0]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policies = [
        attributes["content"] for tag, attributes in seen.tags if attributes.get("http-equiv") == "Content-Security-Policy"
    ]
    wanted = f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; form-action 'none'"
    assert policies == [wanted]
    assert html.count("<style") == 1


@pytest.mark.parametrize("text", [HOSTILE, FORMULA, LONG, UMLAUTS])
def test_text_of_files_comes_out_as_text(seen: Seen, text: str) -> None:
    assert re.sub(r"\s+", " ", text) in seen.text


def test_control_and_turning_characters_are_shown_as_codes(html: str) -> None:
    assert "\u202e" not in html and "\x07" not in html
    assert r"\u202eturned\u202c \u0007bell" in html


def test_a_record_id_cannot_leave_the_style_sheet() -> None:
    bad = record()
    bad["run"]["id"] = '"}</style><script>x</script>{}'
    assert "<script>" not in page.render(bad)
    assert Seen(page.render(bad)).text.count("</style><script>") >= 1


def test_ids_are_unique_and_every_reference_finds_one(seen: Seen) -> None:
    ids = [attributes["id"] for _, attributes in seen.tags if attributes.get("id")]
    assert len(ids) == len(set(ids))
    wanted = {attributes["href"][1:] for tag, attributes in seen.tags if tag in ("a", "use") and attributes.get("href")}
    for _, attributes in seen.tags:
        wanted |= set((attributes.get("aria-labelledby") or "").split())
    assert wanted <= set(ids)


def test_the_same_record_gives_the_same_bytes_and_is_left_alone() -> None:
    given = record()
    kept = copy.deepcopy(given)
    first = page.render(given)
    assert given == kept
    assert page.render(copy.deepcopy(given)) == first


def test_page_one_says_accepted_or_not_on_what_by_whom_how_sure(html: str) -> None:
    first = Seen("<html>" + html[html.index("<body>") : html.index('<section id="settings"')] + "</main></body></html>").text
    assert "Not accepted" in first
    assert "Of 7 cases that were run, 2 fail, 1 is not shown and 1 could not be judged; 3 pass." in first
    assert "Tea sampler line 2, sachet and box check" in first and "drawing not recorded" in first
    assert "1 recording: 320 presentations in 10 min 0 s" in first
    assert "3 cases that pass: at least 95 % of trials conform, at 95 % confidence (one-sided)." in first
    assert "1 by hand, 2 computed and 4 recorded" in first
    assert "Partial. 8 cases are planned, 7 were selected, 7 executed. One case was not selected." in first
    assert "1 case ran more than once" in first
    assert "They were not read back from the sensor or the controller." in first
    assert "1 on-time, 30 ms in all, belong to no presentation" in first
    missing = first.split("Not recorded:", 1)[1].split(".", 1)[0].split(";")
    assert {"Organisation", "Site", "Protocol", "Instruments", "Temperature"} <= {fact.strip() for fact in missing}
    assert "Stage" not in {fact.strip() for fact in missing}
    assert "REC-02" in first and "BELT-01" in first and "RESP-01" in first


@pytest.mark.parametrize(
    ("changes", "answer"),
    [
        ({}, "Accepted by its cases"),
        ({"partial": True}, "No acceptance: a part was run"),
        ({"simulated": True}, "No acceptance: simulated readings"),
        ({"verdict": "not shown"}, "Not accepted: not shown"),
        ({"verdict": "not judged"}, "Not accepted: not judged"),
        ({"verdict": "fail"}, "Not accepted"),
    ],
)
def test_the_answer(changes: dict[str, object], answer: str) -> None:
    given = clean_record()
    given["result"].update(changes)
    html = page.render(given)
    assert f'<p class="accepted">{answer}</p>' in html
    assert ("SIMULATED" in html.split("</style>")[0]) == bool(changes.get("simulated"))
    assert ("PARTIAL" in html.split("</style>")[0]) == bool(changes.get("partial"))


UNCOVERED = {"id": "URS-90", "text": "x", "listed": True, "verified_by": None, "cases": [], "state": "not covered"}


@pytest.mark.parametrize(
    ("requirements", "facts", "required", "beside"),
    [
        ([], {"who": "crew 1"}, [], []),
        ([], {"who": None, "stage": None}, ["who"], ["circumstances not recorded"]),
        ([], {}, [], ["circumstances not recorded"]),
        ([], {"who": "crew 1", "stage": None, "lamp": None}, ["who", "stage", "lamp"], ["2 required facts not recorded"]),
        ([{**UNCOVERED, "state": "shown"}, UNCOVERED], {"who": "crew 1"}, ["who"], ["1 of 2 requirements has no case"]),
        ([UNCOVERED, UNCOVERED], {}, [], ["2 of 2 requirements have no case", "circumstances not recorded"]),
    ],
)
def test_an_acceptance_says_in_its_headline_what_it_leaves_open(
    requirements: list[dict[str, object]], facts: dict[str, object], required: list[str], beside: list[str],
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """The verdict stays, since the cases are the criteria; but no reader may take the acceptance for an unqualified one."""
    given = clean_record()
    given["run"]["facts"] = facts
    given["result"]["requirements"] = requirements
    given["result"]["station"]["settings"]["required_in_run"] = required
    html = page.render(given)
    block = html[html.index('<div class="answer') : html.index('<dl class="tally">')]
    big = re.findall(r'<p class="accepted(?: but)?">(.*?)</p>', block)
    assert [words.lower() for words in big] == ["accepted by its cases", *beside]  # one size, one block
    assert ('class="answer e-pass open"' in block) == bool(beside)
    for part in beside:
        assert html.count(part) + html.count(part.capitalize()) >= 3  # in the title, in the block, and before the signatures
    print_verdicts(given)  # type: ignore[arg-type]
    line = next(line for line in capsys.readouterr().out.splitlines() if "5 pass" in line)
    assert line.startswith(f"pass, but {'; '.join(beside)}: 5 pass" if beside else "pass: 5 pass")


def test_what_is_no_acceptance_needs_no_reservation() -> None:
    given = clean_record()
    given["run"]["facts"] = {}
    for changes in ({"verdict": "fail"}, {"partial": True}, {"simulated": True}):
        changed = {**given, "result": {**given["result"], **changes}}
        assert 'class="accepted but"' not in page.render(changed)


def test_every_verdict_has_its_word_and_its_own_mark(html: str) -> None:
    for slug, word in (
        ("pass", "Pass"),
        ("fail", "Fail"),
        ("not-shown", "Not shown"),
        ("not-judged", "Not judged"),
        ("not-run", "Not run"),
    ):
        assert re.search(rf'<use href="#m-{slug}"/></svg>{word}</span>', html), slug
    shapes = re.findall(r'<symbol id="m-[a-z-]+"[^>]*>(.*?)</symbol>', html)
    assert len(shapes) == len(set(shapes)) == 5


def test_the_basis_stands_beside_every_verdict(seen: Seen) -> None:
    given = clean_record()
    bases = ["recorded", "by hand", "computed", "simulated"]
    given["result"]["cases"] = [case(f"C-{basis}", basis=basis) for basis in bases]
    text = page.render(given)
    for basis in bases:
        assert text.count(f'<span class="small">{basis}</span>') == 1  # in the table
        assert text.count(f'<span class="basis">{basis}</span>') == 1  # at the case


def test_requirements_are_covered_both_ways(seen: Seen) -> None:
    assert "REC-01 (pass), REC-02 (fail)" in seen.text
    assert "inspection" in seen.text and "Verified otherwise" in seen.text and "Not covered" in seen.text
    assert "Named by a case, but not in the list of requirements." in seen.text
    assert "Cases that name no requirement (1): HAND-01." in seen.text


def front_of(html: str) -> str:
    return Seen("<html>" + html[html.index("<body>") : html.index('<section id="settings"')] + "</main></body></html>").text


@pytest.mark.parametrize("verdict", ["pass", "fail", "not shown"])
def test_page_one_names_the_requirements_that_no_case_covers(verdict: str) -> None:
    given = clean_record()
    given["result"].update(verdict=verdict, requirements=[])
    assert "not covered by any case" not in front_of(page.render(given))
    row = {"id": "URS-90", "text": "x", "listed": True, "verified_by": None, "cases": [], "state": "not covered"}
    others = [{**row, "id": f"URS-{k}", "state": "verified otherwise", "verified_by": "inspection"} for k in range(3)]
    given["result"]["requirements"] = [*others, row]
    assert "1 of 4 requirements is not covered by any case: URS-90." in front_of(page.render(given))
    given["result"]["requirements"] = [{**row, "id": f"URS-{k}"} for k in range(14)]
    assert "14 of 14 requirements are not covered by any case: URS-0," in front_of(page.render(given))
    assert "URS-11 and 2 more." in front_of(page.render(given))


def test_the_terminal_names_them_too_and_what_was_not_judged_beside_a_pass(capsys: pytest.CaptureFixture[str]) -> None:
    given = clean_record()
    row = {"id": "URS-90", "text": "x", "listed": True, "verified_by": None, "cases": [], "state": "not covered"}
    given["result"].update(requirements=[row], cases=[case("BELT-01", conforming=59, found=61, not_judged=2)])
    print_verdicts(given)  # type: ignore[arg-type]
    lines = capsys.readouterr().out.splitlines()
    assert "1 of 1 requirement is not covered by any case: URS-90" in lines
    assert any("59 of 61, 2 not judged" in line for line in lines)


def test_page_one_has_the_first_nonconforming_trial_whole() -> None:
    given = clean_record()
    trial = "verbena, specimen V01, sensor sachet, at 18.097 s: channel 1 was on for 87 ms"
    reason = "61 of 62 presentations nonconforming, none accepted; " + "the share that conforms is at least 0.1 %, " * 6
    given["result"]["cases"] = [case("NEAR-01", verdict="fail", reason=f"{reason}. First: {trial}")]
    assert f"61 of 62 presentations nonconforming, none accepted. First: {trial}" in front_of(page.render(given))


def test_a_case_says_why_its_first_trial_not_judged_was_not() -> None:
    given = clean_record()
    why = "bare belt, at 0.000 s: the recording begins in it"
    given["result"]["cases"] = [case("BELT-01", present={"between": "bare belt"}, not_judged=2, not_judged_first=why)]
    text = Seen(page.render(given)).text
    assert f"Not judged: 2 of 160. The first: {why}." in text
    assert "Evidence of BELT-01, one trial a stretch between" in text


def test_a_record_without_facts_says_that_nobody_wrote_them_down() -> None:
    given = clean_record()
    given["run"]["facts"] = {}
    assert "By whom, where, when Nobody wrote it down: run.yaml is missing or empty." in front_of(page.render(given))


def test_the_checksums_can_be_checked_by_the_command_that_is_printed(tmp_path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "station.yaml").write_text("station: x\n")
    digest = hashlib.sha256(b"station: x\n").hexdigest()
    given = clean_record()
    given["result"]["inputs"] = [{"path": "station.yaml", "role": "station", "sha256": digest, "bytes": 11}]
    printed = page.render(given).split("<pre>", 1)[1].split("</pre>", 1)[0]
    (tmp_path / "inputs.sha256").write_text(printed + "\n")
    try:
        ran = subprocess.run(["sha256sum", "-c", "inputs.sha256"], cwd=tmp_path, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        pytest.skip("there is no sha256sum on this computer")
    assert (ran.returncode, ran.stdout) == (0, "station.yaml: OK\n")


def test_cautions_limits_signatures_and_self_test_are_there(seen: Seen) -> None:
    for words in (
        "A colour sensor is not a safety device.",
        "Isolate the machine",
        "Do not look into the sensor's light source",
        "licensed practitioners",
        "Nothing is claimed about specimens that were not presented.",
        "Printed name, role",
        "Date, time and zone",
        "Meaning of the signature",
        "Sharma, Wu, Dalal 2005",
        "End of the report on record 2026-11-25T09-20-00Z-3f2a91c0",
    ):
        assert words in seen.text, words


def test_a_failed_self_test_shows() -> None:
    given = clean_record()
    given["run"]["selftest"] = {
        "passed": False,
        "checks": [{"name": "timers", "passed": False, "checks": 3, "source": "IEC 61131-3"}],
    }
    assert Seen(page.render(given)).text.count("FAILED") == 2


def test_ten_thousand_cases_stay_usable() -> None:
    given = big_record(10_000, 300)
    begun = time.perf_counter()
    html = page.render(given)
    lasted = time.perf_counter() - begun
    assert len(html.encode()) < 10_000_000
    assert lasted < 15  # seconds; about 1.5 on one quiet core
    assert html.count("<article class=") == rows.DETAILED
    assert html.count('<article class="case e-fail"') == rows.DETAILED  # those that do not pass come first
    assert all(f"GRID-{k:05}" in html for k in range(10_000))
    assert rows.RULE in html


def test_ten_thousand_failing_cases_too() -> None:
    assert len(page.render(big_record(10_000, 10_000)).encode()) < 10_000_000


def test_a_bound_is_never_rounded_up_to_what_was_asked() -> None:
    given = clean_record()
    part = given["result"]["cases"][0]["strata"][0]
    part["lower_bound"] = 0.949996
    assert "94.99 % of 95 %" in page.render(given)


def test_what_was_asked_has_its_digits() -> None:
    """13,815,504 clean trials show 99.9999 % at 99.9999 % confidence: ln 0.000001 / ln 0.999999 = 13,815,503.7."""
    given = clean_record()
    for one in given["result"]["cases"]:
        one["asked"] |= {"reliability": 0.999999, "confidence": 0.999999}
    for part in given["result"]["cases"][0]["strata"]:
        part["lower_bound"] = 1e-6 ** (1 / 13_815_504)
    html = page.render(given)
    assert "99.9999 % of 99.9999 %" in html and "at least 99.9999 % of trials conform, at 99.9999 % confidence" in html


def test_the_page_is_drawn_without_numpy_and_the_readers() -> None:
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from report_records import record; from stationtest.report import page; "
        "page.render(record()); heavy = {'numpy', 'pyarrow', 'pydantic', 'scipy', 'colour', 'yaml', 'rich'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    folder = __file__.rsplit("/", 1)[0]
    ran = subprocess.run([sys.executable, "-c", code, folder], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
