#!/usr/bin/env python3
"""Looks at the page in a real browser, and uses it as people do.

    tests/browser/look.py PROGRAM [FOLDER]

Starts PROGRAM on the demonstration (6 July 2026, standing still), opens each page in Chromium on a phone and
on a desk, light and dark, with and without script, prints one, enters something, puts a task off, signs in by
the link that is sent, turns notices on, and looks at a week of more than 100 sites. Each page must be without a message on the console, without a request to anywhere
else, no wider than the window, and without a finding of axe-core. FOLDER keeps the pictures.
"""
import contextlib
import json
import pathlib
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
PHONE, DESK = {"width": 360, "height": 740}, {"width": 1100, "height": 800}
OPTIONS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


def check(holds, what):
    if not holds:
        sys.exit(f"tests/browser/look.py: {what}")


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as one:
        return one.getsockname()[1]


@contextlib.contextmanager
def served(program, folder, sign_in=False, more="", below=""):
    """The demonstration, with more in its configuration, on a port of its own, below a path; its address."""
    port = free_port()
    text = (ROOT / "config" / "demo.toml").read_text()
    for old, new in [
        (r'"\.\./fixtures/', f'"{ROOT}/fixtures/'),
        (r"(?m)^database = .*", 'database = "hatchbell.db"'),
        (r"(?m)^starts = .*", 'starts = "2026-07-06T06:00:00Z"'),
        (r"(?m)^seconds_per_day = .*", "seconds_per_day = 86400.0"),
        (r'(?m)^email = "garden@mill-lane.example"', r'email = "garden@mill-lane.example"' + ("\nweb_push = true" if sign_in else "")),
        (r"(?m)^listen = .*", f'listen = "127.0.0.1:{port}"' + ("\nsign_in = true" if sign_in else "")),
        (r"(?m)^address = .*", ""),
        (r"(?m)^\[web\]$", f'[web]\naddress = "http://127.0.0.1:{port}{below}/"'),
    ]:
        text = re.sub(old, lambda _, new=new: new, text)
    (folder / "hatchbell.toml").write_text(text + more)
    with (folder / "said").open("w") as said:
        service = subprocess.Popen(
            [program, "run", "--config", folder / "hatchbell.toml"], stdout=said, stderr=subprocess.STDOUT
        )
        try:
            for _ in range(300):
                if "next look" in (folder / "said").read_text():
                    break
                time.sleep(0.1)
            yield f"http://127.0.0.1:{port}{below}"
        finally:
            service.terminate()
            service.wait()


class Looker:
    """A browser window that complains."""

    def __init__(self, browser, base, pictures, **options):
        self.base, self.pictures = base, pictures
        self.page = browser.new_context(bypass_csp=False, **options).new_page()
        self.page.on("console", lambda said: check(False, f"the console says: {said.text}"))
        self.page.on("pageerror", lambda said: check(False, f"an error on the page: {said}"))
        self.page.on("request", self.asks)
        self.page.on("response", lambda answer: check(answer.ok or answer.status == 303, f"{answer.url}: {answer.status}"))

    def asks(self, request):
        check(request.url.startswith(self.base), f"the page asks {request.url}")

    def opens(self, path, status=200):
        answer = self.page.goto(self.base + path)
        check(answer.status == status, f"{path}: {answer.status}")

    def fits(self, name):
        wide = self.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        check(wide <= 0, f"{name} is {wide} px too wide")
        if self.pictures:
            self.page.screenshot(path=self.pictures / f"{name}.png", full_page=True)


def accessible(browser, base, path, **options):
    """What axe-core finds. Its script is not the page's, so the policy is set aside for it."""
    page = browser.new_context(bypass_csp=True, **options).new_page()
    page.goto(base + path)
    found = Axe().run(page).response["violations"]
    words = [f"{one['id']}: {one['help']} ({one['nodes'][0]['html'][:160]})" for one in found]
    check(not found, f"{path}, {options.get('color_scheme')}: " + "; ".join(words))


def look(browser, base, pictures):
    paths = {
        "week": "/",
        "site": "/sites/northgate-pitches",
        "count": "/sites/mill-lane-lawn/enter/count",
        "application": "/sites/northgate-pitches/enter/application",
        "journal": "/sites/northgate-pitches/journal",
        "records": "/sites/northgate-pitches/records/2026",
    }
    for name, path in paths.items():
        for scheme in ("light", "dark"):
            looker = Looker(browser, base, pictures, viewport=PHONE, color_scheme=scheme)
            looker.opens(path)
            looker.fits(f"{name}-phone-{scheme}")
            accessible(browser, base, path, viewport=PHONE, color_scheme=scheme)
    desk = Looker(browser, base, pictures, viewport=DESK)
    desk.opens("/sites/northgate-pitches")
    desk.fits("site-desk")
    desk.page.emulate_media(media="print")
    desk.fits("site-print")
    missing = browser.new_context().new_page()
    check(missing.goto(base + "/sites/nowhere").status == 404, "a site that is not there")


def use(browser, base, pictures):
    """By hand, on a phone, without script."""
    looker = Looker(browser, base, pictures, viewport=PHONE, java_script_enabled=False)
    page = looker.page
    looker.opens("/")
    page.get_by_role("link", name="Northgate, pitches 1 to 6").first.click()
    check("Apply imidacloprid" in page.get_by_role("heading", level=2).first.inner_text().replace("apply", "Apply"), "what is due")
    looker.opens("/sites/northgate-pitches/enter/note")
    page.locator("textarea, input[name=note], input[name=text], input[name=remark]").first.fill("Rolled the pitches.")
    page.get_by_role("button").last.click()
    check(page.url.startswith(base + "/sites/northgate-pitches/journal"), f"after a note: {page.url}")
    check(page.get_by_text("Rolled the pitches.").count() > 0, "the note is not in the journal")
    entered = page.url
    page.reload()
    check(page.url == entered, "a reload sends nothing")
    page.locator("details summary", has_text="Take back").first.click()
    page.get_by_role("button", name=re.compile("^Take number")).first.click()
    looker.opens("/sites/northgate-pitches/journal")
    check(page.get_by_text("Rolled the pitches.").count() == 0, "the note was not taken back")


def sign_in(browser, base, folder, pictures):
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(base + "/")
    check(page.url.endswith("/sign-in"), f"a stranger sees {page.url}")
    if pictures:
        page.screenshot(path=pictures / "sign-in.png")
    page.get_by_role("textbox").fill("garden@mill-lane.example")
    page.get_by_role("button").click()
    for _ in range(200):
        links = re.findall(r"http://\S+/sign-in/\S+", (folder / "said").read_text())
        if links:
            break
        time.sleep(0.1)
    check(links, "no link was sent")
    page.goto(links[-1].rstrip("."))
    page.get_by_role("button").click()
    check(page.get_by_text("Mill Lane, front lawn").count() > 0, "their own site is missing")
    check(page.get_by_text("Northgate").count() == 0, "a site of another member is shown")
    check(page.goto(base + "/sites/northgate-pitches").status == 404, "a site of another member opens")
    notices(browser, context, base, pictures)


def many_sites():
    """The fields of a member with 120 of them, whose tasks differ."""
    stations = ("harbour-meadow", "old-orchard", "high-pasture")
    species = ("japanese-beetle", "northern-masked-chafer", "european-chafer", "oriental-beetle")
    options = ("chlorantraniliprole", "imidacloprid", "trichlorfon", "biological")
    tables = ['[[member]]\nid = "wide-valley"\nname = "Wide Valley growers (invented)"\n']
    for number in range(120):
        tables.append(
            f'[[member.site]]\nid = "strip-{number}"\nname = "Strip {number}"\nturf = "bluegrass"\n'
            f'latitude = 41.0\nstation = "{stations[number % 3]}"\nspecies = ["{species[number // 3 % 4]}"]\n'
            f'condition = "irrigated"\narea = "1 ha"\noptions = ["{options[number // 12 % 4]}"]\n'
            f'preventives = "{"never" if number % 5 == 0 else "every-year"}"\n'
        )
    return "\n" + "\n".join(tables)


def many(browser, base, pictures):
    """A week of more than 100 sites: what presses is in sight, the rest is found, unfolded and printed."""
    for name, size in (("phone", PHONE), ("desk", DESK)):
        for scheme in ("light", "dark"):
            looker = Looker(browser, base, pictures, viewport=size, color_scheme=scheme)
            looker.opens("/")
            looker.fits(f"many-{name}-{scheme}")
            accessible(browser, base, "/", viewport=size, color_scheme=scheme)
    phone = Looker(browser, base, pictures, viewport=PHONE, java_script_enabled=False)
    phone.opens("/")
    page = phone.page
    hidden = page.locator("details.more .task").last
    check(not hidden.is_visible(), "nothing is folded away")
    check(page.locator(".layer-now details.more").count() == 0, "what presses is folded away")
    high = page.evaluate("document.documentElement.scrollHeight")
    check(high < 6000, f"the week of 120 sites is {high} px high on a phone")
    page.locator("details.more > summary").last.click()
    check(page.locator("details.more[open] .task").last.is_visible(), "it does not unfold")
    page.get_by_label("Find a site or member").fill("strip 119")
    page.get_by_role("button", name="Find").click()
    check(page.get_by_role("link", name="Strip 119", exact=True).is_visible(), "a site is not found by its name")
    check(page.get_by_role("link", name="Strip 11", exact=True).count() == 0, "another site is found")
    paper = Looker(browser, base, pictures, viewport=DESK)
    paper.page.emulate_media(media="print")
    paper.opens("/")
    for number in range(120):
        name = paper.page.get_by_role("link", name=f"Strip {number}", exact=True).first
        check(name.is_visible(), f"strip {number} is not on paper")
    paper.fits("many-print")


# What a push service would answer to the browser: a machine for tests reaches none. The keys are those of
# RFC 8291, appendix A.
SUBSCRIPTION = """
const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (one) => one.charCodeAt(0)).buffer;
const known = {
  endpoint: "https://push.example.org/a-browser",
  getKey: (name) => bytes(name === "auth" ? "BTBZMqHH6r4Tts7J_aSIgg"
    : "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"),
  unsubscribe: async () => { sessionStorage.removeItem("known"); return true; },
};
PushManager.prototype.getSubscription = async () => (sessionStorage.getItem("known") ? known : null);
PushManager.prototype.subscribe = async (options) => {
  if (options.applicationServerKey.length !== 65 || !options.userVisibleOnly) throw new Error("no key");
  sessionStorage.setItem("known", "1");
  return known;
};
"""


def notices(browser, signed_in, base, pictures):
    """Turns notices on, shows one that is delivered to the worker, and ends them."""
    state = signed_in.storage_state()
    silent = Looker(browser, base, pictures, viewport=PHONE, storage_state=state, java_script_enabled=False)
    silent.opens("/notices")
    check(silent.page.get_by_text("this page alone needs script").is_visible(), "what to do without script")
    check(not silent.page.get_by_role("button", name="Turn on").is_visible(), "a button that does nothing")
    for scheme in ("light", "dark"):
        looker = Looker(browser, base, pictures, viewport=PHONE, color_scheme=scheme, storage_state=state)
        page = looker.page
        page.context.grant_permissions(["notifications"], origin=base)
        page.add_init_script(SUBSCRIPTION)
        looker.opens("/notices")
        page.get_by_label("What you call this browser").fill(f"my {scheme} phone")
        looker.fits(f"notices-{scheme}")
        accessible(browser, base, "/notices", viewport=PHONE, color_scheme=scheme, storage_state=state)
        page.get_by_role("button", name="Turn on notices here").click()
        page.get_by_text(f"my {scheme} phone, since").wait_for()
        page.get_by_text("which is this browser").wait_for()
        check(not page.get_by_role("button", name="Turn on").is_visible(), "it can be turned on twice")
        looker.fits(f"notices-on-{scheme}")
        accessible(browser, base, "/notices", viewport=PHONE, color_scheme=scheme, storage_state=state)
        shows(page, base)
        page.get_by_role("button", name=f"End notices in my {scheme} phone").click()
        page.get_by_role("button", name="Turn on notices here").wait_for()
        check(page.get_by_text("since").count() == 0, "a browser that was ended is listed")


def shows(page, base):
    """What the worker shows of what a push service delivers."""
    session = page.context.new_cdp_session(page)
    registrations = []
    session.on("ServiceWorker.workerRegistrationUpdated", lambda said: registrations.extend(said["registrations"]))
    session.send("ServiceWorker.enable")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    for _ in range(200):
        if registrations:
            break
        page.wait_for_timeout(50)
    check(registrations, "no worker is registered")
    shown = "navigator.serviceWorker.ready.then((one) => one.getNotifications()).then((all) => all.map((one) => [one.title, one.body, one.tag]))"
    for deadline in ("13 July", "14 July"):
        said = {"title": "Last week for imidacloprid", "body": f"By {deadline}.", "tag": "a", "opens": base + "/"}
        wanted = [[said["title"], said["body"], said["tag"]]]
        for attempt in range(200):
            # A browser that is just starting its worker may lose one; push services send again as well.
            if attempt % 40 == 0:
                ours = [one for one in registrations if one["scopeURL"].startswith(base) and not one["isDeleted"]]
                session.send(
                    "ServiceWorker.deliverPushMessage",
                    {"origin": base, "registrationId": ours[-1]["registrationId"], "data": json.dumps(said)},
                )
            found = page.evaluate(shown)
            if found == wanted:
                break
            page.wait_for_timeout(50)
        check(found == wanted, f"the worker shows {found}")


def main():
    program = pathlib.Path(sys.argv[1]).resolve()
    pictures = pathlib.Path(sys.argv[2]) if len(sys.argv) > 2 else None
    if pictures:
        pictures.mkdir(parents=True, exist_ok=True)
    chromium = shutil.which("chromium") or sys.exit("chromium is missing; on Debian: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=OPTIONS)
        with tempfile.TemporaryDirectory() as name:
            with served(program, pathlib.Path(name), more=many_sites()) as base:
                many(browser, base, pictures)
        for guarded, below in ((False, ""), (True, ""), (True, "/turf")):
            with tempfile.TemporaryDirectory() as name:
                folder = pathlib.Path(name)
                with served(program, folder, guarded, below=below) as base:
                    if guarded:
                        sign_in(browser, base, folder, pictures)
                    else:
                        look(browser, base, pictures)
                        use(browser, base, pictures)
        browser.close()
    print("tests/browser/look.py: all passed")


if __name__ == "__main__":
    main()
