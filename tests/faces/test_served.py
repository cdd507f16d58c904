"""The planner's page as its server answers: who is let in, what is refused, what is kept whoever dies."""

from __future__ import annotations

import json
import os
import random
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import psutil
import pytest
from served_page import HANG, Served, small_plan

from treescan.assess import plan
from treescan.faces.cli.commands import run
from treescan.faces.served import told
from treescan.faces.served.desk import Desk
from treescan.faces.served.places import base_of
from treescan.faces.session.answers import Answers
from treescan.faces.session.changes import Change
from treescan.faces.session.history import History
from treescan.faces.session.inputs import arguments
from treescan.faces.session.session_file import digest_of, read_session
from treescan.outputs.text.say import text
from treescan.wood.files.read_tree import read_tree


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("served")
    small_plan(folder / "plans" / "tree_a")
    return folder


@pytest.fixture(scope="module")
def served(place) -> Iterator[Served]:
    server = Served([place / "plans"], place / "sessions")
    server.enter()
    yield server
    server.close()


def sentence(body: bytes) -> str:
    said = body.decode()
    said = json.loads(said)["fault"] if said.startswith("{") else said
    assert said and "\n" not in said and "Traceback" not in said and len(said) < 400, said
    return said


def test_only_this_machine_listens(served):
    """Every listening socket of the server is bound to the loopback address."""
    own = psutil.Process(served.process.pid)
    bound = {c.laddr.ip for c in own.net_connections() if c.status == psutil.CONN_LISTEN}

    assert bound == {"127.0.0.1"}


@pytest.mark.parametrize("token", ["", "wrong", "x" * 5000])
def test_a_wrong_token_is_refused(served, token):
    for headers in ({"Cookie": ""}, {"Cookie": "treescan_1=zz; " + "a=" + token[:100]}):
        status, _, body = served.ask("GET", f"/?token={token}", **headers)
        assert (status, sentence(body)) == (403, text("served_no_token"))
        assert served.ask("GET", "/trees", **headers)[0] == 403


def test_another_pages_request_is_refused(served):
    """By its Origin, by a foreign Host (a name that was pointed here), or for want of the page's own mark."""
    key = served.key()
    body = json.dumps({"wish": "move", "to": 0}).encode()
    for origin in ("http://elsewhere.example", "null", "https://127.0.0.1", "http://127.0.0.1:1"):
        status, _, said = served.ask("POST", f"/tree/{key}/wish", body, Origin=origin)
        assert (status, sentence(said)) == (403, text("served_wrong_origin")), origin
    for host in ("elsewhere.example", "127.0.0.1", f"elsewhere.example:{served.host.split(':')[1]}"):
        status, _, said = served.ask("GET", "/trees", Host=host)
        assert (status, sentence(said)) == (421, text("served_wrong_host")), host
    assert served.ask("POST", f"/tree/{key}/wish", body, X_Treescan="")[0] == 403
    assert served.ask("GET", "/trees", Origin=f"http://{served.host}")[0] == 200


def test_a_websocket_is_refused(served):
    """The page uses none; an upgrade never opens one."""
    status, _, _ = served.ask(
        "GET", "/trees", Connection="Upgrade", Upgrade="websocket", Sec_WebSocket_Version="13", Sec_WebSocket_Key="AAAAAAAAAAAAAAAAAAAAAA==",
        Origin="http://elsewhere.example",
    )  # fmt: skip
    assert status in {400, 403, 404}


PATHS = ["/part/../gate.py", "/part/%2e%2e/gate.py", "/part/..%2fgate.py", "/part/..%5cgate.py", "//part/planner.js", "/part/gate.py",
         "/tree/../../etc/passwd/state", "/tree/K/file/../session.json", "/tree/K/file/%2e%2e/session.json", "/tree/K/file/..%2f..%2fetc%2fpasswd",
         "/tree/K/file//etc/passwd", "/tree/K/file/tree.json", "/tree/zzz/state", "/trees/../trees"]  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
def test_path_tricks_lead_nowhere(served, path):
    status, _, body = served.ask("GET", path.replace("K", served.key()))
    assert 400 <= status < 500 and b"root:" not in body and b"def " not in body
    if body:
        sentence(body)


def test_two_gigabytes_are_refused_before_they_are_sent(served):
    """By the length it states, without waiting for it; and a length that is none, or missing."""
    start = time.monotonic()
    for path in ("/upload/tree.las", f"/tree/{served.key()}/wish"):
        status, _, body = served.ask("PUT" if "upload" in path else "POST", path, None, Content_Length="2000000000")
        assert (status, sentence(body)) == (413, text("served_too_large"))
    assert served.ask("PUT", "/upload/tree.las", None)[0] == 411
    assert time.monotonic() - start < 10


@pytest.mark.parametrize("name", ["page.html", "tree.json", ".hidden.las", "a%00.las", "%2e%2e%2fa.las", "x" * 200 + ".las"])
def test_what_is_no_cloud_by_its_name_is_not_taken(served, name):
    status, _, body = served.ask("PUT", f"/upload/{name}", b"abc")
    assert 400 <= status < 500
    sentence(body)


def test_a_broken_cloud_is_refused_in_one_sentence(served, place):
    """Brought by the page, traced in a process of its own: the reader's own sentence comes back, the server lives."""
    key = served.json("PUT", "/upload/broken.las", "not a cloud at all")["key"]
    progress = served.json("POST", f"/trace/{key}", {"wish": "start"})
    until = time.monotonic() + HANG
    while not progress["fault"] and not progress["done"]:
        assert time.monotonic() < until, progress
        time.sleep(0.3)
        progress = served.json("GET", f"/trace/{key}")

    assert "broken.las" in progress["fault"] and "Traceback" not in progress["fault"] and not progress["done"]
    assert served.ask("GET", f"/tree/{key}/state")[0] == 400
    assert not list((place / "sessions").rglob(".part-*"))


def test_the_points_of_the_scan_are_brought_as_they_are_kept(served, place):
    """Byte for byte; the scene says how they are packed. A page that may not enter is brought none."""
    key, kept = served.key(), read_tree(place / "plans" / "tree_a" / "tree.json").points
    told, (status, _, body) = served.json("GET", f"/tree/{key}/scene")["points"], served.ask("GET", f"/tree/{key}/points")

    assert status == 200
    np.testing.assert_array_equal(np.frombuffer(body, "<u2").reshape(-1, 3), kept.steps)
    np.testing.assert_allclose(told["low"], kept.low, atol=1e-3)
    assert told["step"] == kept.step and "data" not in told
    assert served.ask("GET", f"/tree/{key}/points", Cookie="")[0] == 403


def test_a_tree_without_points_of_a_scan_is_shown(tmp_path):
    """As earlier folders are, and trees that came from elsewhere: its scene names none, and none are brought."""
    server = Served([small_plan(tmp_path / "plans" / "tree_a", scanned=False)], tmp_path / "kept")
    try:
        server.enter()
        key = server.key()
        assert not server.json("GET", f"/tree/{key}/scene").get("points")
        assert server.ask("GET", f"/tree/{key}/points")[::2] == (200, b"")
    finally:
        server.close()


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b'{"wish": "climb"}', b'{"wish": "change"}', b'{"wish": "move", "to": 99}',
                                  b'{"wish": "change", "kind": "setting", "values": {"name": "loads.climber_mass", "value": NaN}}',
                                  b'{"wish": "change", "kind": "finding", "values": {"row": {"kind": "refused", "union": "U99", "who": "a", "when": "b", "why": "c"}}}'])  # fmt: skip
def test_a_wish_that_cannot_be_meant_changes_nothing(served, body):
    key = served.key()
    before = served.json("GET", f"/tree/{key}/state")["lines"]
    status, _, said = served.ask("POST", f"/tree/{key}/wish", body)

    assert status == 400
    sentence(said)
    assert served.json("GET", f"/tree/{key}/state")["lines"] == before


def test_every_answer_keeps_other_pages_out(served):
    for path in ("/", "/trees", "/part/planner.js", "/nowhere"):
        _, headers, _ = served.ask("GET", path)
        assert "frame-ancestors 'none'" in headers["content-security-policy"] and headers["x-content-type-options"] == "nosniff"
    _, headers, _ = served.ask("GET", "/?" + served.link.partition("?")[2])
    assert "HttpOnly" in headers["set-cookie"] and "samesite=strict" in headers["set-cookie"].lower()


def test_a_change_is_planned_told_and_undone(served):
    """Another climber, then the first union refused: told what changed and why; undone, the first plan is back."""
    key = served.key()
    first = served.settled(key)
    served.change(key, "setting", name="loads.climber_mass", value=130.0)
    heavy = served.settled(key)
    label = heavy["plan"]["rows"][0]["label"]
    served.change(key, "finding", row={"kind": "refused", "union": label, "who": "an inspector", "when": "today", "why": "fungus <b>"})
    refused = served.settled(key)
    served.wish(key, wish="move", to=len(first["lines"]))
    back = served.settled(key)

    assert heavy["plan"] != first["plan"] and heavy["changed"]
    assert any("fungus <b>" in line and label in line for line in refused["changed"])
    assert back["plan"] == first["plan"]
    assert served.json("GET", f"/tree/{key}/union/{label}")["candidates"]
    assert served.json("GET", f"/tree/{key}/lines/0")["rope"]
    assert served.json("GET", f"/tree/{key}/scene")["unions"]


def test_the_first_answers_are_told_while_the_plan_is_worked_out(place, tmp_path):
    """The chosen union first; told beside what it was, and gone when the plan is there, which says the same."""
    file = place / "plans" / "tree_a" / "tree.json"
    desk, seen = Desk(file, tmp_path, base_of(file)), []
    until = time.monotonic() + 300
    try:
        while desk.plan is None and time.monotonic() < until:
            time.sleep(0.05)
        tell, label = desk._tell, desk.plan.points[-1].label
        desk._tell = lambda: (seen.append(told.state(desk)["first"]), tell())
        desk.looked_at = label
        desk.change(Change("species", {"name": "willow"}))
        while (desk.plan is None or desk.work is not None) and time.monotonic() < until:
            time.sleep(0.05)
        last = told.state(desk)
    finally:
        desk.close()
    row = next(found for found in seen if found)["rows"][0]
    planned = [r for r in last["plan"]["rows"] if (r["label"], r["system"]) == (label, row["system"])]

    assert row["label"] == label and row["was"] and row["low"] in {r["low"] for r in planned}
    assert last["first"] is None


def test_throws_are_asked_for_from_a_place(served):
    key = served.key()
    before = served.settled(key)
    label = before["plan"]["rows"][0]["label"]
    line = served.change(key, "stand", place=[3.0, -3.0], union=label)["lines"][-1]["line"]
    until = time.monotonic() + HANG
    while (state := served.settled(key))["thrown"] is None and time.monotonic() < until:
        time.sleep(0.2)

    assert state["thrown"]["line"] == line and state["thrown"]["says"]
    assert state["plan"] == before["plan"]
    assert served.json("GET", f"/tree/{key}/flights")["flights"]

    assert served.wish(key, wish="move", to=state["at"] - 1)["thrown"] is None, "told after its question was undone"
    assert served.json("GET", f"/tree/{key}/flights")["flights"] == []
    assert served.wish(key, wish="move", to=state["at"])["thrown"] == state["thrown"]


def test_throws_are_told_first_where_all_are_searched_again(place, tmp_path):
    """Another spread: the first throws from the places so far, as the plan finds them there; a place nobody stands at has none."""
    tree, heard = read_tree(place / "plans" / "tree_a" / "tree.json"), []
    base = base_of(place / "plans" / "tree_a" / "tree.json")
    answers, history = Answers(tree), History(base)
    first = answers.of(base)
    wider = history.with_change(Change("setting", {"name": "throw.hand.side_sd", "value": 0.05})).inputs
    answers.first_throws(wider, first.points[-1].label, lambda *told: heard.append(told))
    now = answers.of(wider)
    stand = next(p.throw.stand for p in first.points if p.throw is not None)
    square = [[float(stand[0] + x), float(stand[1] + y)] for x, y in ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5))]
    closed = history.with_change(Change("drawn", {"what": "no-stand", "name": "", "places": square, "volts": None})).inputs
    gone = []
    answers.first_throws(closed, "", lambda *told: gone.append(told))

    assert [n for _, _, n, _ in heard] == list(range(1, len(heard) + 1)) and heard
    stayed = [(p, t, now.throws.best.get((p.union, p.throw.isolation_class))) for p, t, _, _ in heard if t is not None]
    same = [(t.chance, best.chance) for _, t, best in stayed if best is not None and np.array_equal(best.stand, t.stand)]
    assert same and all(one == pytest.approx(other, abs=1e-9) for one, other in same)
    assert all(t is None for p, t, _, _ in gone if np.array_equal(p.throw.stand, stand)) and gone


def test_a_record_of_own_throws_is_taken_as_the_command_line_takes_it(served, tmp_path):
    """The same spread as `treescan throws` writes; what is no record is refused in one sentence and changes nothing."""
    key = served.key()
    before = served.settled(key)
    rows = [f"hand,6,9,68,{8.6 + 0.2 * (i % 5)},{0.2 * (i % 4) - 0.2},{13.8 + 0.1 * (i % 7)}" for i in range(12)]
    head = "method,distance_m,aimed_height_m,elevation_deg,got_height_m,got_side_m,got_range_m"
    (tmp_path / "own.csv").write_text("\n".join([head, *rows]))
    status, _, body = served.ask("PUT", f"/tree/{key}/throws", b"name,height\n1,2\n")
    assert status == 400 and "lacks" in sentence(body)
    assert served.settled(key)["at"] == before["at"]

    status, _, body = served.ask("PUT", f"/tree/{key}/throws", (tmp_path / "own.csv").read_bytes())
    assert status == 200, body
    state = served.settled(key)
    assert run(["throws", str(tmp_path / "own.csv"), "-o", str(tmp_path / "own.toml")]) == 0
    own = tomllib.loads((tmp_path / "own.toml").read_text())["throw"]["hand"]
    served.wish(key, wish="move", to=before["at"])

    assert state["inputs"]["settings"]["throw.hand.side_sd"] == own["side_sd"] and "12 throws" in state["lines"][-1]["says"]
    assert json.loads(body)["lines"][-1]["kind"] == "own throws"


def test_two_whole_plans_side_by_side(served):
    key = served.key()
    served.settled(key)
    served.wish(key, wish="name", name="as scanned")
    served.change(key, "species", name="willow")
    served.settled(key)
    found = served.json("GET", f"/tree/{key}/compare?one=as%20scanned&other=")

    assert found["changed"] and len(found["plans"]) == 2 and found["plans"][0]["rows"] != found["plans"][1]["rows"]
    assert served.json("GET", f"/tree/{key}/compare?one=nobody&other=", status=400)["fault"]


@pytest.mark.slow
def test_a_killed_server_loses_nothing(place, tmp_path):
    """Killed in the middle of an answer: the next server has every change, and answers as a fresh plan does."""
    file = place / "plans" / "tree_a" / "tree.json"
    server = Served([file], tmp_path / "kept")
    server.enter()
    key = server.key()
    for kilos in (90.0, 110.0, 120.0):
        server.change(key, "setting", name="loads.climber_mass", value=kilos)
    server.change(key, "species", name="beech")
    server.kill()
    again = Served([file], tmp_path / "kept")
    try:
        again.enter()
        state = again.settled(key)
        history = read_session(next((tmp_path / "kept" / key).glob("*/session.json")), digest_of(file))
        tree = read_tree(file)
        fresh = plan(tree, **arguments(tree, history.inputs))

        assert [line["line"] for line in state["lines"]] == [1, 2, 3, 4] and state["inputs"]["species"] == "beech"
        assert [r["label"] for r in state["plan"]["rows"]] == [p.label for p in fresh.points]
    finally:
        again.close()


def test_an_address_that_is_none_is_refused(place, tmp_path, capsys):
    """Everything at once is no address for a link; so is a folder without a tree, and a short password."""
    for more in (["--host", "0.0.0.0"], ["--host", "127.0.0.1"]):
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("TREESCAN_PASSWORD", "short")
            assert run(["serve", str(place / "plans"), "-o", str(tmp_path / "kept"), *more]) == 2
        assert capsys.readouterr().err.count("\n") == 1
    assert run(["serve", str(tmp_path / "nowhere"), "-o", str(tmp_path / "kept")]) == 2


@pytest.mark.slow
def test_a_second_server_on_the_same_tree_and_folder_is_refused(served, place):
    """Two would write over each other's history: the second says so in one sentence, and can serve into another folder."""
    served.settled(served.key())
    second = Served([place / "plans"], place / "sessions")
    try:
        second.enter()
        said = second.json("GET", f"/tree/{second.key()}/state", status=400)["fault"]
        assert "another run of treescan" in said
    finally:
        second.close()


@pytest.mark.slow
def test_open_to_others_it_asks_for_a_password(place, tmp_path):
    """Without it nothing is shown; a wrong one is refused and the next has to wait; the link holds no token."""
    server = Served([place / "plans"], tmp_path / "kept", "--host", "127.0.0.2", TREESCAN_PASSWORD="a long enough one")
    try:
        assert "token" not in server.link and server.host.startswith("127.0.0.2")
        status, _, page = server.ask("GET", "/")
        assert status == 401 and b'type="password"' in page and b"/part/planner.js" in page
        assert server.ask("GET", "/trees")[0] == 403 and server.ask("GET", "/?token=" + "a" * 32)[0] == 403
        wrong = server.ask("POST", "/enter", b'{"password": "another"}')
        soon = server.ask("POST", "/enter", b'{"password": "a long enough one"}')
        time.sleep(1.1)
        right = server.ask("POST", "/enter", b'{"password": "a long enough one"}')

        assert (wrong[0], soon[0], right[0]) == (403, 403, 303)
        server.cookie = right[1]["set-cookie"].split(";")[0]
        assert server.json("GET", "/trees")["trees"]
    finally:
        server.close()


def soak(server: Served, count: int) -> list[float]:
    """Random changes with undo and redo; memory of the server every tenth of them. [MB]"""
    key, rng, memory = server.key(), random.Random(7), []
    own = psutil.Process(server.process.pid)
    labels = [r["label"] for r in server.settled(key)["plan"]["rows"]]
    for k in range(count):
        state = server.json("GET", f"/tree/{key}/state")
        turn = rng.random()
        if turn < 0.35 and state["at"] > 0:
            server.wish(key, wish="move", to=rng.randrange(state["at"]))
        elif turn < 0.45 and state["at"] < len(state["lines"]):
            server.wish(key, wish="move", to=len(state["lines"]))
        elif turn < 0.65:
            server.change(key, "setting", name="loads.climber_mass", value=float(rng.randrange(60, 150)))
        elif turn < 0.8:
            server.change(key, "finding", row={"kind": rng.choice(["refused", "note", "defect"]), "value": 0.7, "union": rng.choice(labels), "who": "a", "when": "b", "why": "c"})
        else:
            server.change(key, "species", name=rng.choice(["oak", "beech", "willow", None]))
        assert not server.settled(key)["fault"]
        if k % max(1, count // 10) == 0:
            memory.append(own.memory_info().rss / 1e6)
            print(f"{k} changes: {memory[-1]:.0f} MB", flush=True)
    return memory


@pytest.mark.slow
def test_what_the_page_writes_is_what_the_command_line_replays(served, place, tmp_path):
    """Every file of the page, byte for byte, from the tree.json and the session.json it lies with; and they can be fetched."""
    key = served.key()
    served.settled(key)
    served.change(key, "setting", name="loads.climber_mass", value=111.0)
    served.wish(key, wish="write")
    until = time.monotonic() + 300
    while not (written := served.settled(key)["written"]) and time.monotonic() < until:
        time.sleep(0.5)
    status, _, page = served.ask("GET", f"/tree/{key}/file/report.html")
    folder = next((place / "sessions" / key).glob("*/files"))
    asked = ["plan", str(folder / "tree.json"), "--session", str(folder / "session.json"), "-o", str(tmp_path / "line"), "--quiet"]

    assert status == 200 and page == (folder / "report.html").read_bytes()
    assert {"report.html", "job_sheet.pdf", "site.gpkg", "anchors.json", "tree.json", "session.json"} <= set(written)
    assert run(asked) == 0
    for name in written:
        if name != "session.json":
            assert (folder / name).read_bytes() == (tmp_path / "line" / name).read_bytes(), name


@pytest.mark.slow
def test_a_soak_of_random_changes_keeps_memory_flat(place, tmp_path):
    """Once the plans at hand are filled, memory does not grow with the changes. Another tree and count: `TREESCAN_SOAK_TREE`, `TREESCAN_SOAK_COUNT`."""
    given, count = os.environ.get("TREESCAN_SOAK_TREE"), int(os.environ.get("TREESCAN_SOAK_COUNT", "40"))
    server = Served([Path(given) if given else place / "plans"], tmp_path / "kept")
    try:
        server.enter()
        memory = soak(server, count)
        print("memory [MB]:", [round(m) for m in memory])
        assert memory[-1] < 1.1 * memory[len(memory) // 3] + 20
    finally:
        server.close()
