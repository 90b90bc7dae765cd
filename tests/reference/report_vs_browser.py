#!/usr/bin/env python3
"""The HTML report in a real browser, in a strict parser and on paper.

html5lib (a reader of HTML that follows the WHATWG standard) must find nothing wrong with the page. Headless Chromium
must show it without an error: every picture decodes, every clip says how long it is, the first screen is complete at
1280x800 and at 390x844, and what it prints to PDF holds every section (read back by pdftotext). A unit named like a
script is shown, not run.
"""

import html
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import html5lib

PROGRAM = os.environ["LAYSHAFT_PROGRAM"]
SOURCE = Path(os.environ.get("LAYSHAFT_SOURCE", "."))
CHROMIUM = shutil.which("chromium")
HOSTILE = """<b>&"' five</b><script>document.title="run"</script>"""
MOST_BYTES = 5_000_000

# Runs inside the page: tells the window around it what went wrong and where things ended up.
PROBE = """<script>
const wrong = [];
addEventListener("error", e => wrong.push(e.message || e.target.tagName + " failed"), true);
addEventListener("securitypolicyviolation", e => wrong.push("refused: " + e.violatedDirective));
addEventListener("load", async () => {
  const sounds = [...document.querySelectorAll("audio")];
  await Promise.all(sounds.map(a => a.readyState > 0 || a.error ? 0 : new Promise(done => {
    a.addEventListener("loadedmetadata", done); a.addEventListener("error", done); })));
  const bottom = q => { const e = document.querySelector(q); return e ? e.getBoundingClientRect().bottom : -1; };
  const svg = document.querySelector(".unit svg");
  parent.postMessage(JSON.stringify({
    wrong, title: document.title, height: innerHeight, width: innerWidth, scroll: document.documentElement.scrollWidth,
    words: bottom(".words"), drawing: svg ? bottom(".unit svg") : -1, h1: bottom("h1"),
    images: [...document.images].map(i => i.naturalWidth), alts: [...document.images].map(i => i.alt),
    sounds: sounds.map(a => a.error ? -1 : a.duration), drawn: svg ? svg.getBBox().width : 0,
    bold: document.querySelectorAll("header b").length,
    overflow: svg ? [...svg.querySelectorAll("text")].filter(t => {
      const b = t.getBBox(), v = svg.viewBox.baseVal;
      return b.x < -1 || b.x + b.width > v.width + 1 || b.y < -1 || b.y + b.height > v.height + 1; })
      .map(t => t.textContent) : []
  }), "*"); });
</script>"""

FRAME = """<!DOCTYPE html><body><script>addEventListener("message", e => {
document.body.innerHTML = "<pre id=answer></pre>"; document.getElementById("answer").textContent = e.data; });</script>
<iframe src="%s" width="%d" height="%d" style="border:0"></iframe></body>"""


def expect(condition, what):
    if not condition:
        raise AssertionError(what)


def browse(*arguments):
    with tempfile.TemporaryDirectory() as profile:
        return subprocess.run([CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
                               "--allow-file-access-from-files", f"--user-data-dir={profile}", *arguments],
                              stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=120, check=True).stdout


def probe(page, width, height):
    """What the page says of itself in a window of that size."""
    text = page.read_text(encoding="utf-8").replace("default-src 'none';", "default-src 'none'; script-src 'unsafe-inline';")
    probed, frame = page.with_name("probed.html"), page.with_name("frame.html")
    probed.write_text(text.replace("</title>", "</title>" + PROBE, 1), encoding="utf-8")
    frame.write_text(FRAME % (probed.name, width, height), encoding="utf-8")
    shown = browse("--window-size=1400,1000", "--virtual-time-budget=20000", "--dump-dom", frame.as_uri()).decode()
    answer = re.search(r'<pre id="answer">(.*?)</pre>', shown, re.S)
    expect(answer, "the page never finished loading")
    return json.loads(html.unescape(answer.group(1)))


def make_job(folder, name, unit_name=None, faults=None, unit="transaxle"):
    job = folder / name
    if faults is None:
        shutil.copytree(SOURCE / "recordings" / "road-test", job, ignore=shutil.ignore_patterns("report"))
    else:
        subprocess.run([PROGRAM, "simulate", job, "--unit", SOURCE / "recordings" / "units" / f"{unit}.ini", "--seed", "8",
                        "--world", "stand", "--seconds", "8", "--fault", faults, "--quiet"], check=True)
    if unit_name:
        text = (job / "unit.ini").read_text(encoding="utf-8")
        (job / "unit.ini").write_text(re.sub(r"(?m)^name = .*$", lambda m: "name = " + unit_name, text, count=1),
                                      encoding="utf-8")
    subprocess.run([PROGRAM, "diagnose", "--quiet", job], check=True, stdout=subprocess.DEVNULL)
    return job / "report" / "report.html"


def check_alone(page):
    """Well-formed, small, and in need of nothing from outside."""
    text = page.read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(text)
    expect(len(text.encode()) < MOST_BYTES, f"{len(text)} bytes")
    expect("<script" not in text, "a script")
    for link in re.findall(r'(?:src|href|url)\s*[=(]\s*["\']?([^"\'>)\s]{1,40})', text):
        expect(link.startswith(("data:", "#")), f"needs {link}")


def check_shown(page, suspects):
    for width, height in ((1280, 800), (390, 844)):
        seen = probe(page, width, height)
        where = f"at {width}x{height}"
        expect(seen["wrong"] == [], f"{seen['wrong']} {where}")
        expect(0 < seen["words"] <= height and 0 < seen["drawing"] <= height, f"first screen cut {where}: {seen}")
        expect(seen["scroll"] <= seen["width"], f"{seen['scroll']} wide {where}")
        expect(seen["images"] and min(seen["images"]) > 100, f"pictures {seen['images']}")
        expect(all(seen["alts"]), "a picture without words")
        expect(seen["overflow"] == [], f"outside the drawing: {seen['overflow']}")
        expect(len(seen["sounds"]) == 3 * suspects, f"{len(seen['sounds'])} clips")
        expect(all(3.5 < s < 4.5 for s in seen["sounds"]), f"clips of {seen['sounds']} s")
    return seen


def check_paper(page, words):
    paper = page.with_name("paper.pdf")
    browse("--no-pdf-header-footer", f"--print-to-pdf={paper}", page.as_uri())
    text = " ".join(subprocess.run(["pdftotext", "-layout", paper, "-"], check=True, stdout=subprocess.PIPE).stdout
                    .decode().split())
    for word in words:
        expect(word in text, f"not on paper: {word}")


def check_records(folder):
    """Before and after, and the run-in record, of a unit named like a script."""
    before = make_job(folder, "before", HOSTILE).parent.parent
    after = make_job(folder, "after", HOSTILE).parent.parent
    limits = folder / "limits.csv"
    limits.write_text("part,gear,load,limit_db\nthird pair,3,drive,60\nheadset,R,,90\n", encoding="utf-8")
    subprocess.run([PROGRAM, "compare", "--quiet", before, after], check=True, stdout=subprocess.DEVNULL)
    verified = subprocess.run([PROGRAM, "verify", "--quiet", after, "--limits", limits, "--serial", "<b>0815</b>"],
                              stdout=subprocess.DEVNULL, check=False)
    expect(verified.returncode == 1, f"verify ended with {verified.returncode}")
    for name, images, words in (("compare", 3, ["third pair", "Part by part", "What was compared", "Line by line"]),
                                ("run-in", 0, ["Run-in record", "FAIL", "not tested", "0815", "On the stand"])):
        page = after / "report" / f"{name}.html"
        check_alone(page)
        for width in (1280, 390):
            seen = probe(page, width, 844)
            expect(seen["wrong"] == [] and seen["bold"] == 0, f"{name} at {width}: {seen['wrong']}")
            expect(seen["scroll"] <= seen["width"], f"{name}: {seen['scroll']} wide at {width}")
            expect(len(seen["images"]) == images and all(i > 100 for i in seen["images"]), f"pictures {seen['images']}")
            expect(seen["title"].startswith(HOSTILE), f"shown as {seen['title']}")
        check_paper(page, words)


def main():
    if not CHROMIUM:
        print("skipped: chromium is not installed")
        return 77
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        page = make_job(folder, "plain")
        check_alone(page)
        check_shown(page, 1)
        check_paper(page, ["third pair", "What to look at", "Nothing against", "Not tested", "Evidence", "Why",
                           "Inspection sheet", "Rule of the trade", "Contact pattern", "Caution", "Recordings",
                           "Run 1: run01-neutral.flac", "Run 5: run05-drive.flac", "made by", "never a certificate"])
        sheet = folder / "plan.html"
        subprocess.run([PROGRAM, "plan", "--quiet", folder / "plain", "--gear", "3", "--sheet", sheet], check=True)
        check_alone(sheet)
        check_paper(sheet, ["Recordings to make", "gear 3, drive", "Sensor and place", "Caution", "First"])
        hostile = make_job(folder, "hostile", HOSTILE)
        check_alone(hostile)
        seen = probe(hostile, 1280, 800)
        expect(seen["wrong"] == [] and seen["bold"] == 0, f"the name acts: {seen['wrong']}")
        expect(seen["title"].startswith(HOSTILE), f"shown as {seen['title']}")
        bearing = make_job(folder, "bearing", faults="outer:pinion shaft left")
        check_alone(bearing)
        check_shown(bearing, 1)
        twins = make_job(folder, "twins", faults="inner:countershaft rear", unit="four-speed-overdrive")
        check_alone(twins)
        check_shown(twins, 2)  # two bearings of one size on one shaft: both are heard
        check_records(folder)
        healthy = make_job(folder, "healthy", faults="none")
        check_alone(healthy)
        check_shown(healthy, 0)
    print("the report stands in a browser, in a strict parser and on paper")
    return 0


if __name__ == "__main__":
    try:
        result = main()
    except AssertionError as wrong:
        print(wrong)
        result = 1
    sys.exit(result)
