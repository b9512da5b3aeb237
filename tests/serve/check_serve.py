"""The server from outside: what the page asks for, and what hostile clients try. Standard library only.
The rules it is held to: RFC 9110 (methods, 404, 405, 413, 415, 421), the Fetch standard's Sec-Fetch-Site, OWASP's advice on
DNS rebinding (check Host) and on cross-site requests (custom header, Origin). Usage: check_serve.py STRANDLINE SCENARIO"""
import csv
import http.client
import io
import json
import math
import pathlib
import re
import shutil
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse

program, scenario = sys.argv[1:3]
work = pathlib.Path(tempfile.mkdtemp(prefix="strandline-serve-"))
failures = []
JSON = {"X-Strandline": "1", "Content-Type": "application/json"}
BYTES = {"X-Strandline": "1", "Content-Type": "application/octet-stream"}


def check(truth, what):
    print("ok  " if truth else "FAIL", what)
    if not truth:
        failures.append(what)


class Server:
    def __init__(self, folder):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.process = subprocess.Popen([program, "serve", str(folder), "--port", str(port), "--store", str(work / "store")], stdout=subprocess.PIPE, text=True)
        for line in self.process.stdout:
            if line.startswith("http://"):
                break
        self.address = line.strip()
        parts = urllib.parse.urlsplit(self.address)
        self.port, self.base = parts.port, parts.path

    def ask(self, path, method="GET", body=None, headers=None, whole=False):
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        link.putrequest(method, path if whole else self.base + path, skip_host=bool(headers and "Host" in headers))
        headers = dict(headers or {})
        if body is not None and "Content-Length" not in headers and "Transfer-Encoding" not in headers:
            headers["Content-Length"] = str(len(body))
        for name, value in headers.items():
            link.putheader(name, value)
        link.endheaders()
        if body:
            try:
                link.send(body)
            except (BrokenPipeError, ConnectionResetError):
                pass
        answer = link.getresponse()
        data = answer.read()
        link.close()
        return answer, data

    def json(self, path, method="GET", body=None):
        answer, data = self.ask(path, method, None if body is None else json.dumps(body).encode(), JSON if method != "GET" else None)
        return answer.status, json.loads(data)

    def wait_ready(self, exam):
        for _ in range(600):
            got = self.json(f"api/exams/{exam}")[1]
            if got["state"] in ("ready", "failed"):
                return got
            time.sleep(0.1)
        return got

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(60)


def entry(kind, n, tab="t", seen=0, **rest):
    return {"uid": f"u{n}", "tab": tab, "seen": seen, "kind": kind, **rest}


def read_frames(data):
    length = struct.unpack("<I", data[:4])[0]
    head = json.loads(data[4:4 + length])
    size = 16 + head["width"] * head["height"]
    rest = data[4 + length:]
    return head, [rest[i:i + size] for i in range(0, len(rest), size)], len(rest) % size


try:
    day = work / "place" / "2031-03-04"
    day.mkdir(parents=True)
    clip = day / "R1.mp4"
    subprocess.run([program, "simulate", scenario, "--out", str(clip), "--set", "controls.duration_s=0.6"], check=True,
                   stdout=subprocess.DEVNULL)
    subprocess.run([program, "simulate", scenario, "--out", str(day / "R2.dcm"), "--set", "controls.duration_s=0.3"], check=True,
                   stdout=subprocess.DEVNULL)
    (day / "note.png").write_bytes(b"no picture at all")
    secret = work / "secret.txt"
    secret.write_text("not for you")
    server = Server(work / "place")
    check(re.fullmatch(r"http://127\.0\.0\.1:\d+/[0-9a-f]{32}/", server.address), "the address holds 128 bits of chance")

    # ---- dawdling clients, while everything below goes on ----
    closed = []

    def dawdle():
        with socket.create_connection(("127.0.0.1", server.port), timeout=90) as slow:
            try:
                for piece in b"GET / HTTP/1.1\r\nHost: 127":
                    slow.sendall(bytes([piece]))
                    time.sleep(0.4)
                while slow.recv(100):
                    pass
                closed.append(True)
            except (ConnectionResetError, BrokenPipeError):
                closed.append(True)
            except TimeoutError:
                closed.append(False)

    dawdlers = [threading.Thread(target=dawdle) for _ in range(20)]
    for one in dawdlers:
        one.start()

    # ---- the page and its headers ----
    answer, data = server.ask("")
    check(answer.status == 200 and b"strandline" in data, "the page comes")
    policy = answer.getheader("Content-Security-Policy")
    check("default-src 'none'" in policy and "script-src 'self'" in policy and "unsafe" not in policy and "*" not in policy,
          "the content-security policy lets only its own files run")
    check(answer.getheader("X-Content-Type-Options") == "nosniff" and answer.getheader("Referrer-Policy") == "no-referrer",
          "no sniffing, no referrer")
    check(answer.getheader("Access-Control-Allow-Origin") is None, "no other origin is let in")

    # ---- wrong keys and paths ----
    wrong = "/" + "0" * 32 + "/"
    check(server.ask(wrong, whole=True)[0].status == 404, "a wrong key finds nothing")
    check(server.ask(wrong + "api/exams", whole=True)[0].status == 404, "a wrong key lists nothing")
    for path in ("/", "/api/exams", server.base[:-1], server.base[:20]):
        check(server.ask(path, whole=True)[0].status == 404, f"no key, nothing: {len(path)} letters")
    for path in ("../secret.txt", "../../etc/passwd", "%2e%2e/%2e%2e/etc/passwd", "..%2f..%2fsecret.txt", "api/exams/..", "api/exams/../..",
                 "api/exams/%2e%2e%2f%2e%2e/report.pdf", "api/exams/x/clips/..%2f..%2fsecret.txt/frames", "api//exams", "page.js/../x",
                 "api/exams/" + "a" * 5000, "%00", "page.js%00.css", "a\\b", "api/exams/x/report.pdf/../../..", "C:/x", "~root"):
        answer, data = server.ask(path)
        check(answer.status in (404, 414, 431) and b"not for you" not in data and b"root:" not in data, f"no way out: {path[:40]}")

    # ---- names, origins, methods, sizes ----
    check(server.ask("api/exams", headers={"Host": "evil.example"})[0].status == 421, "another name for this machine is refused")
    check(server.ask("api/exams", headers={"Host": f"localhost:{server.port}"})[0].status == 200, "localhost is this machine")
    for headers in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}):
        check(server.ask("api/exams", headers=headers)[0].status == 403, f"a foreign page is refused: {headers}")
    body = json.dumps({"date": "2031-05-05"}).encode()
    check(server.ask("api/exams", "POST", body, {"Content-Type": "application/json"})[0].status == 403, "a change without our header is refused")
    check(server.ask("api/exams", "POST", body, {"Content-Type": "text/plain", "X-Strandline": "1"})[0].status == 415, "a form's body is refused")
    for method in ("DELETE", "OPTIONS", "TRACE", "PATCH", "BREW"):
        check(server.ask("api/exams", method)[0].status == 405, f"{method} is not understood")
    check(server.ask("api/exams", "POST", b"x" * 400000, JSON)[0].status == 413, "a large body is refused")
    check(server.ask("api/exams", "POST", None, {**JSON, "Content-Length": "99999999999999"})[0].status == 413, "a body announced as huge is refused")
    chunks = b"".join(b"ff00\r\n" + b"x" * 0xFF00 + b"\r\n" for _ in range(8)) + b"0\r\n\r\n"
    try:
        check(server.ask("api/exams", "POST", chunks, {**JSON, "Transfer-Encoding": "chunked"})[0].status == 413, "a body in pieces is counted, too")
    except (http.client.HTTPException, ConnectionError):
        check(True, "a body in pieces is counted, too")
    for text in (b"{", b"[" * 100000, b'{"date": 7}', b'{"date": "../../x"}', b"\xff\xfe", b"null", b'{"title": "' + b"a" * 5000 + b'"}'):
        check(server.ask("api/exams", "POST", text, JSON)[0].status == 400, f"bad words: {text[:20]!r}")
    with socket.create_connection(("127.0.0.1", server.port)) as raw:
        raw.sendall(b"\x16\x03\x01\x02\x00garbage\r\n\r\n")
        raw.settimeout(30)
        check(b"200" not in raw.recv(1000), "garbage gets no answer of value")
    with socket.create_connection(("127.0.0.1", server.port)) as raw:
        raw.sendall(b"GET / HTTP/1.1\r\n" + b"X: " + b"y" * 200000 + b"\r\n\r\n")
        raw.settimeout(30)
        try:
            check(b" 200 " not in raw.recv(1000), "endless headers are cut off")
        except ConnectionError:
            check(True, "endless headers are cut off")
    with socket.create_connection(("0.0.0.0", server.port)) as _:
        pass
    try:
        outside = socket.gethostbyname(socket.gethostname())
        if not outside.startswith("127."):
            with socket.create_connection((outside, server.port), timeout=2):
                check(False, "it listens on the loopback address alone")
    except OSError:
        check(True, "it listens on the loopback address alone")

    # ---- what the page does ----
    status, got = server.json("api/exams")
    exam = got["exams"][0]["id"]
    check(status == 200 and got["exams"][0]["name"] == "2031-03-04", "the examinations are listed")
    state = server.wait_ready(exam)
    by_name = {one["clip"]: one for one in state["clips"]}
    check(state["state"] == "ready" and by_name["R1.mp4"]["status"] == "read" and by_name["note.png"]["status"] != "read",
          "clips are read; one that is none says why and the rest goes on")
    check(by_name["R1.mp4"]["zone"] == "R-upper-anterior" and by_name["note.png"]["reason"], "zones and reasons come along")
    first = by_name["R1.mp4"]["id"]
    answer, data = server.ask(f"api/exams/{exam}/clips/{first}/frames")
    head, frames, rest = read_frames(data)
    decoded = by_name["R1.mp4"]
    check(rest == 0 and len(frames) == decoded["frames"] and head["width"] <= decoded["file"]["width"], "all frames come, whole")
    check(head["x0"] >= 0 and max(frames[0][16:]) > 100, "the frames hold the imaged area")
    answer, data = server.ask(f"api/exams/{exam}/clips/{first}/straightened.jpg")
    check(answer.status == 200 and data[:2] == b"\xff\xd8", "the straightened picture comes")
    # ---- measuring by hand: lengths from the scale alone, uncertainty in closed form (JCGM 100:2008, 5.1.2 and 4.3.7) ----
    scaled = by_name["R2.dcm"]
    by_hand = lambda ask, clip=scaled["id"]: server.json(f"api/exams/{exam}/clips/{clip}/measure?{ask}")
    deep, scale = scaled["scale"]["imaged_depth_mm"], scaled["scale"]["mm_per_px"]
    half = by_hand("kind=distance&points=0.5,0.2;0.5,0.7&placing_px=1")[1]
    check(half["known"] and half["unit"] == "mm" and abs(half["value"] - deep / 2) < 1e-3 * deep, "half the depth along a beam is half the depth")
    beam = half["resolution"]
    pixel = 2 * (1 / 12 + 1) * scale ** 2 + (2 * beam["along_mm"] ** 2 / 12 if beam["along_mm"] else 0)  # JCGM 100:2008, 5.1.2 and 4.3.7
    due = math.hypot(math.sqrt(pixel), scaled["scale"]["mm_per_px_sd"] / scale * half["value"])
    check(abs(half["sd"] - due) < 2e-3 * due + 1e-4 and abs(half["high"] - half["value"] - 1.96 * half["sd"]) < 1e-3,
          f"its uncertainty is the pixel's, the resolution's, the hand's and the scale's: {half['sd']} for {due:.4f} mm")
    check("placement" in by_hand("kind=distance&points=0.5,0.2;0.5,0.7")[1]["left_out"], "it says what its uncertainty does not hold")
    shallow = by_hand("kind=distance&points=0.4,0.15;0.6,0.15&placing_px=1")[1]
    check(shallow["left_out"] == "" and shallow["resolution"]["across_from"] == "speckle" and 0.3 < shallow["resolution"]["across_mm"] < 6,
          f"in the wall the clip's speckle says how wide the beam is: {shallow['resolution']}")
    narrow = by_hand("kind=distance&points=0.4,0.15;0.6,0.15&placing_px=1&freq_mhz=3.5&aperture_mm=20")[1]["resolution"]
    wide = by_hand("kind=distance&points=0.4,0.15;0.6,0.15&placing_px=1&freq_mhz=3.5&aperture_mm=10")[1]["resolution"]
    check(narrow["across_from"] in ("formula", "speckle") and (narrow["across_from"] != "formula" or abs(wide["across_mm"] / narrow["across_mm"] - 2) < 0.05),
          "where frequency and aperture are stated the formula says it: half the aperture, twice the width")
    path = by_hand("kind=path&points=0.5,0.2;0.5,0.4;0.5,0.7")[1]
    check(abs(path["value"] - half["value"]) < 1e-3, "a straight line in two pieces is as long as in one")
    check(abs(by_hand("kind=angle&points=0.5,0.2;0.5,0.5;0.5,0.8")[1]["value"] - 180) < 1e-3, "a straight line is an angle of 180 degrees")
    flat = by_hand("kind=area&points=0.5,0.2;0.5,0.5;0.5,0.8")[1]
    check(flat["unit"] == "mm2" and abs(flat["value"]) < 1e-3, "a line holds no area")
    apart = by_hand("kind=time&times=0.2,0.6&frame_s=0.04")[1]
    check(abs(apart["value"] - 0.4) < 1e-9 and abs(apart["sd"] - 0.04 / math.sqrt(6)) < 1e-4, "the time between two frames, known to a frame")
    check(not by_hand("kind=time&times=0.2,0.6")[1]["known"], "without the frames' times there is no time")
    moved = by_hand("kind=trace&points=0.5,0.2;0.5,0.7&times=0.2,0.6&frame_s=0.04&placing_px=1")[1]
    check(abs(moved["value"] - half["value"]) < 1e-3 and abs(moved["time"]["value"] - 0.4) < 1e-9, "on the motion trace: the way between two places, and the time")
    due = half["value"] / 0.4 * math.hypot(half["sd"] / half["value"], 0.04 / math.sqrt(6) / 0.4)  # JCGM 100:2008, 5.1.6
    check(abs(moved["speed"]["value"] - half["value"] / 0.4) < 1e-2 and abs(moved["speed"]["sd"] - due) < 1e-3 * due + 1e-3, "and the speed, its uncertainty from both")
    still = by_hand("kind=trace&points=0.5,0.2;0.5,0.7&times=0.2,0.2&frame_s=0.04")[1]
    check(still["known"] and not still["speed"]["known"] and still["speed"]["reason"], "no time between, no speed")
    check(not by_hand("kind=trace&points=0.5,0.2;0.5,0.7&times=0.2,0.6&frame_s=0.04", first)[1]["speed"]["known"], "no scale, no speed")
    known = [half["value"] + 1, half["value"] - 1]
    again = by_hand(f"kind=distance&points=0.5,0.2;0.5,0.7&earlier={known[0]},{known[1]}")[1]["repeats"]
    low, high = again["within_sd_interval"]  # chi-square of 2 degrees of freedom, 0.0506 and 7.378 (from memory)
    check(again["count"] == 3 and abs(again["within_sd"] - 1) < 1e-3 and abs(low - math.sqrt(2 / 7.378)) < 1e-3 and abs(high - math.sqrt(2 / 0.0506)) < 2e-2 and abs(again["repeatability"] - 1.96 * math.sqrt(2)) < 2e-3,
          "repeats give mean, within-case deviation with its interval, and repeatability (Bland and Altman, Lancet 1986;1:307)")
    bare = by_hand("kind=distance&points=0.5,0.2;0.5,0.7&placing_px=1", first)[1]
    check(not bare["known"] and bare["value"] is None and "scale" in bare["reason"], "no scale, no millimetres")
    few = by_hand("kind=area&points=0.5,0.2;0.5,0.5")[1]
    check(not few["known"] and few["value"] is None and few["reason"], "too few points: a reason, no number")
    for ask in ("", "kind=volume&points=0,0;1,1", "kind=distance", "kind=distance&points=0.5;0.2", "kind=distance&points=nan,0;1,1", "kind=path&points=0,0;2,1",
                "kind=path&points=" + ";".join(["0.5,0.5"] * 500), "kind=distance&points=0,0;1,1,", "kind=time&times=1", "kind=distance&points=0,0;1,1&earlier=a",
                "kind=trace&points=0,0;1,1", "kind=trace&points=0,0&times=0,1", "kind=trace&points=0,0;1,2&times=0,1"):
        check(by_hand(ask)[0] in (200, 400) and "value" not in by_hand(ask)[1] or not by_hand(ask)[1]["known"], f"no number from {ask[:40]!r}")
    check(by_hand("kind=distance&points=0,0;1,1", by_name["note.png"]["id"])[0] == 409, "nothing is measured where the geometry is not known")
    curved = by_hand("kind=trace&points=0.3,0.3;0.5,0.6;0.7,0.3&along=0,1&times=0.2,0.6&frame_s=0.04&placing_px=1")[1]
    corners = by_hand("kind=path&points=0.3,0.3;0.5,0.6;0.7,0.3")[1]["value"]
    part = by_hand("kind=trace&points=0.3,0.3;0.5,0.6;0.7,0.3&along=0.75,0.25&times=0.2,0.6&frame_s=0.04")[1]
    check(corners < curved["value"] < 1.2 * corners and abs(part["value"] - curved["value"] / 2) < 0.01 * corners,
          f"along a curve: longer than its corners ({curved['value']} and {corners} mm), half of it half as long")
    check(curved["places"][0] == [0.3, 0.3] and abs(curved["places"][1][0] - 0.7) < 1e-6 and abs(curved["share_of_depth"] - curved["value"] / deep) < 1e-3,
          "the places come back, and the share of the depth")
    unscaled = by_hand("kind=trace&points=0.5,0.2;0.5,0.7&along=0,0.5&times=0.2,0.6&frame_s=0.04&placing_px=1", first)[1]
    check(not unscaled["known"] and abs(unscaled["share_of_depth"] - 0.25) < 1e-3 and unscaled["share_half"] > 0, "without a scale: its share of the imaged depth")
    for ask in ("along=0,2", "along=0.5", "along=nan,1", "along=0,1,0.5"):
        check(by_hand(f"kind=trace&points=0.5,0.2;0.5,0.7&times=0.2,0.6&{ask}")[0] == 400, f"no place on the trace: {ask}")
    check(by_hand("kind=trace&points=0.5,0.2;0.5,0.2&times=0.2,0.6")[0] == 400, "a line without length")

    # ---- the motion trace ----
    def motion(ask, clip=first):
        answer, data = server.ask(f"api/exams/{exam}/clips/{clip}/trace?{ask}")
        if answer.status != 200:
            return answer.status, json.loads(data)["error"], b""
        length = struct.unpack("<I", data[:4])[0]
        return 200, json.loads(data[4:4 + length]), data[4 + length:]
    status, sheet, grey = motion("points=0.5,0;0.5,1&rows=128&width=300")
    check(status == 200 and (sheet["width"], sheet["rows"], len(grey)) == (300, 128, 128 * 300), "the motion trace comes in the size asked for")
    times = [struct.unpack("<d", one[:8])[0] for one in frames]
    lasts = times[-1] + (times[-1] - times[0]) / (len(times) - 1)
    check(sheet["timed"] and abs(sheet["axis"][1] - lasts) < 1e-3 and sheet["every"] == 1, "its axis is the clip's time")
    check(all(abs(times[one] - (x + 0.5) / 300 * lasts) <= min(abs(t - (x + 0.5) / 300 * lasts) for t in times) + 1e-9
              for x, one in enumerate(sheet["frames"])), "each column is the frame nearest in time")
    status, columns, raw = motion("points=0.5,0;0.5,1&rows=128")
    check(columns["width"] == len(frames) and columns["frames"] == list(range(len(frames))) and columns["axis"] is None, "one column a frame when no width is asked for")
    check(all(grey[r * 300 + x] == raw[r * len(frames) + one] for x, one in enumerate(sheet["frames"]) for r in range(0, 128, 9)), "both show the same grey")
    # against the frames themselves: the beam in the middle is a straight line of the picture, here by nearest pixels
    view = next(one for one in server.json(f"api/exams/{exam}")[1]["clips"] if one["id"] == first)["view"]
    angle = (view["first_angle_rad"] + view["last_angle_rad"]) / 2 if view["shape"] != "linear" else 0
    off = total = 0
    for r in range(4, 124):
        share = (r + 0.5) / 128
        if view["shape"] == "linear":
            x, y = (view["first_x"] + view["last_x"]) / 2, view["near_y"] + share * (view["far_y"] - view["near_y"])
        else:
            radius = view["near_r"] + share * (view["far_r"] - view["near_r"])
            x, y = view["apex_x"] + radius * math.sin(angle), view["apex_y"] + radius * math.cos(angle) / view["aspect"]
        at = 16 + round((y - head["y0"]) / head["step"]) * head["width"] + round((x - head["x0"]) / head["step"])
        for k in range(0, len(frames), 3):
            off += abs(frames[k][at] - raw[r * len(frames) + k])
            total += 1
    check(off / total < 12, f"it is the frames' grey along the line: {off / total:.1f} levels from the nearest pixels")
    check(abs(columns["length_share"] - 1) < 1e-3 and columns["length_mm"] is None and abs(motion("points=0.5,0;0.5,1", scaled["id"])[1]["length_mm"] - deep) < 0.02,
          "the line's length: of the depth, and in mm where there is a scale")
    curve = motion("points=0.3,0.2;0.5,0.6;0.7,0.2", scaled["id"])[1]["line"]
    check(curve[0] == [0.3, 0.2] and curve[-1] == [0.7, 0.2] and min(math.hypot(b - 0.5, d - 0.6) for b, d in curve) < 0.02 and len(curve) > 60,
          "the curve goes through its points")
    told = sheet["texture"]
    finding = next(one for one in by_name["R1.mp4"]["reading"]["findings"] if one["finding"] == "trace_texture")
    check((told["clip"] is None) == (not finding["known"]) and (not finding["known"] or abs(told["clip"] - finding["value"]) < 0.01) and bool(told["reason"]) != told["known"],
          f"the texture below the pleura is the reading's: {told}")
    if sheet["pleura"]:
        depth = next(one for one in by_name["R1.mp4"]["reading"]["findings"] if one["finding"] == "pleura_depth")["value"]
        check(abs(sheet["pleura"]["depth"] - depth) < 0.1 and abs(sheet["pleura"]["at"] - sheet["pleura"]["depth"]) < 1e-3, "and it says where the line meets the pleura")
    check(motion("points=0.5,0;0.5,0.02")[1]["texture"]["known"] is False, "a line that does not meet the pleura has no texture")
    for ask, what in (("", "no points"), ("points=0.5,0", "one point"), ("points=" + ";".join(["0.5,0.5", "0.2,0.1"] * 9), "too many points"),
                      ("points=nan,0;0.5,1", "no number"), ("points=inf,0;0.5,1", "no number"), ("points=0.5,0;0.5,1.5", "outside"), ("points=0.5,0;0.5", "half a point"),
                      ("points=0.5,0;0.5,0", "no length"), ("points=0.5,0;0.5,1&rows=100000000", "huge rows"), ("points=0.5,0;0.5,1&rows=1", "too few rows"),
                      ("points=0.5,0;0.5,1&rows=nan", "rows no number"), ("points=0.5,0;0.5,1&width=99999999", "huge width"), ("points=0.5,0;0.5,1&width=-5", "width below 0"),
                      ("points=0.5,0;0.5,1&width=", "no width"), ("points=a,b;c,d", "letters")):
        status, sentence, _ = motion(ask)
        check(status == 400 and sentence.endswith("."), f"no motion trace with {what}: {sentence}")
    check(motion("points=0.5,0;0.5,1", by_name["note.png"]["id"])[0] == 409, "no motion trace where the geometry is not known")
    many = [threading.Thread(target=lambda i=i: got_all.append(motion(f"points=0.{i + 1},0;0.{i + 1},1", (first, scaled["id"])[i % 2])[0])) for i in range(8)]
    got_all = []
    for one in many:
        one.start()
    for one in many:
        one.join()
    check(got_all == [200] * 8, "several ask at once")
    # at uneven times: the same frames as a GIF whose delays are known, two of them long
    delays = [6, 4, 8, 60, 4, 6, 50, 4, 8, 4, 6, 4, 4, 4, 4][:len(frames)]  # hundredths of a second
    whole = bytearray(b"GIF89a" + struct.pack("<HHBBB", head["width"], head["height"], 0xf7, 0, 0) + bytes(v for grey in range(256) for v in (grey, grey, grey)))
    for delay, one in zip(delays, frames):
        bits = count = 0
        packed = bytearray()
        for at, value in enumerate(one[16:]):
            for code in ([256] if at % 250 == 0 else []) + [value]:  # cleared so often that codes stay 9 bits long
                bits |= code << count
                count += 9
                while count >= 8:
                    packed.append(bits & 255)
                    bits >>= 8
                    count -= 8
        bits |= 257 << count
        packed += struct.pack("<I", bits)[:(count + 9 + 7) // 8]
        whole += b"\x21\xf9\x04\x04" + struct.pack("<H", delay) + b"\0\0" + b"," + struct.pack("<HHHHB", 0, 0, head["width"], head["height"], 0) + b"\x08"
        for at in range(0, len(packed), 255):
            whole += bytes([len(packed[at:at + 255])]) + packed[at:at + 255]
        whole += b"\0"
    answer, _ = server.ask(f"api/exams/{exam}/clips?name=uneven.gif", "PUT", bytes(whole + b";"), BYTES)
    check(answer.status == 201, "a clip of uneven times is brought in")
    for _ in range(600):
        uneven = next((one for one in server.json(f"api/exams/{exam}")[1]["clips"] if one["clip"] == "uneven.gif"), {})
        if uneven.get("done"):
            break
        time.sleep(0.1)
    starts = [sum(delays[:k]) / 100 for k in range(len(delays))]
    lasts = starts[-1] * (1 + 1 / (len(starts) - 1))
    status, sheet, grey = motion("points=0.5,0;0.5,1&rows=64&width=500", uneven["id"])
    check(status == 200 and sheet["timed"] and abs(sheet["axis"][1] - lasts) < 1e-3, f"its axis ends with its last frame and a mean step: {sheet['axis']}")
    steps = sorted(b - a for a, b in zip(starts, starts[1:]))
    hold = 1.5 * steps[len(steps) // 2]
    wrong = 0
    for x, one in enumerate(sheet["frames"]):
        away = [abs(t - (x + 0.5) / 500 * lasts) for t in starts]
        near = min(away)
        if abs(near - hold) > 2e-3:  # not where a gap begins
            wrong += one != -1 if near > hold else one == -1 or away[one] > near + 1e-6
    check(wrong == 0 and sheet["frames"].count(-1) > 100, f"its columns stand at the frames' own times, gaps stay gaps ({sheet['frames'].count(-1)} of 500)")
    answer, data = server.ask(f"api/exams/{exam}/page.png?page=1")
    check(answer.status == 200 and data[:4] == b"\x89PNG" and int(answer.getheader("X-Pages")) >= 3, "the report comes page by page")
    check(server.ask(f"api/exams/{exam}/page.png?page=99")[0].status == 404, "a page that is not there")
    answer, data = server.ask(f"api/exams/{exam}/report.pdf")
    check(answer.status == 200 and data[:5] == b"%PDF-", "the report comes as PDF")

    say = lambda *entries: server.json(f"api/exams/{exam}/says", "POST", list(entries))
    find = dict(clip="R1.mp4", code="b_lines")
    status, got = say(entry("find", 1, say={"known": True, "answer": "absent"}, **find), entry("conclude", 2, say="Invented."))
    check(status == 200 and got["says"]["last"] == 2, "what the clinician says is kept")
    check(say(entry("find", 1, say={"known": True, "answer": "absent"}, **find))[1]["says"]["last"] == 2, "the same entry twice is kept once")
    check("b_lines" in json.dumps(by_name["R1.mp4"]["reading"]) and got["clips"][0]["reading"] == state["clips"][0]["reading"],
          "the program's reading stays as it was")
    for bad in (entry("find", 3, clip="R1.mp4", code="no_such", say={}), entry("find", 4, clip="R1.mp4", code="score", say={"value": 9}),
                entry("find", 5, clip="R1.mp4", code="b_lines", say={"answer": "maybe"}), entry("zone", 6, clip="R1.mp4", say="nowhere"),
                entry("undo", 7, of=99), entry("shout", 8), {"kind": "find"}, "words", entry("conclude", 9, say="x" * 5000)):
        check(say(bad)[0] == 400, f"refused with a sentence: {str(bad)[:60]}")
    check(server.json(f"api/exams/{exam}")[1]["says"]["last"] == 2, "nothing of what was refused is kept")
    say(entry("zone", 10, clip="R1.mp4", say="L-basal-lateral"))
    for _ in range(100):
        moved = server.wait_ready(exam)
        if any(zone["zone"] == "L-basal-lateral" and zone["clips"] for zone in moved["head"]["zones"]):
            break
        time.sleep(0.1)
    check(any(zone["zone"] == "L-basal-lateral" and zone["clips"] for zone in moved["head"]["zones"]), "a clip is put into another zone")

    put = lambda name, body: server.ask(f"api/exams/{exam}/clips?name={urllib.parse.quote(name)}", "PUT", body, BYTES)
    bytes_of = clip.read_bytes()
    before = set(day.iterdir())
    check(put("../../../evil.mp4", bytes_of)[0].status == 201 and (day / "evil.mp4").exists() and not (work / "evil.mp4").exists(),
          "a clip brought in stays in its folder whatever its name")
    check(put("evil.mp4", bytes_of)[0].status == 201 and (day / "evil-2.mp4").exists(), "a second of that name replaces nothing")
    for name in ("", ".hidden", "/etc/passwd", "a\nb.mp4", "..", "x" * 400 + ".mp4", "exam-info.json/..", "\u202egp4.exe"):
        check(put(name, b"zz")[0].status == 201, f"a strange name is made harmless: {name[:20]!r}")
    made = {one.name for one in set(day.iterdir()) - before if one.is_file()}
    check(all(not name.startswith(".") and "/" not in name and "\n" not in name and len(name.encode()) <= 140 for name in made), "names made are plain")
    half = http.client.HTTPConnection("127.0.0.1", server.port)
    half.putrequest("PUT", server.base + f"api/exams/{exam}/clips?name=half.mp4")
    for name, value in {**BYTES, "Content-Length": "1000000"}.items():
        half.putheader(name, value)
    half.endheaders()
    half.send(b"x" * 1000)
    half.sock.close()
    time.sleep(0.5)
    server.wait_ready(exam)
    check(not (day / "half.mp4").exists(), "half a clip is no clip")
    check(server.ask("api/exams/0000000000000000/clips?name=a", "PUT", b"x", BYTES)[0].status == 404, "no examination, no clip")

    # ---- second readers, learners, tasks: hostile and clumsy words ----
    exams = [one["id"] for one in server.json("api/exams")[1]["exams"]]
    ask = lambda path, body: server.ask(path, "POST", body if isinstance(body, bytes) else json.dumps(body).encode(), JSON)[0].status
    for body in [b"", b"[", {}, {"reader": "../x", "findings": ["score"], "exams": exams}, {"reader": "a b", "findings": ["score"], "exams": exams},
                 {"reader": "program", "findings": ["score"], "exams": exams}, {"reader": "A", "findings": ["nonsense"], "exams": exams},
                 {"reader": "A", "findings": [], "exams": exams}, {"reader": "A", "findings": [3], "exams": exams},
                 {"reader": "A", "findings": ["score"], "exams": ["../.."]}, {"reader": "A", "findings": ["score"], "exams": "all"}]:
        check(ask("api/readers/lists", body) == 400, f"a blind list is not begun by {body}")
    check(ask("api/readers/lists", {"reader": "A", "findings": ["score"], "exams": exams}) == 201, "a blind list begins")
    check(ask("api/readers/lists", {"reader": "A", "findings": ["score"], "exams": exams}) == 400, "one list at a time")
    code = server.json("api/readers/lists/A-1")[1]["clips"][0]["code"]
    for body in [b"", {}, {"code": code, "finding": "score", "word": "9"}, {"code": code, "finding": "b_lines", "word": "yes"},
                 {"code": "B-1-001", "finding": "score", "word": "1"}, {"code": code, "finding": "score", "word": "1" * 5000}]:
        check(ask("api/readers/lists/A-1", body) == 400, f"no answer: {str(body)[:60]}")
    check(ask("api/readers/lists/A-1/hand-in", {}) == 400, "an empty list is not handed in")
    check(ask("api/readers/lists/A-1", {"code": code, "finding": "score", "word": "2"}) == 200, "an answer is taken")
    check(ask("api/readers/lists/A-1/hand-in", {}) == 200 and ask("api/readers/lists/A-1/hand-in", {}) == 400, "handed in once")
    check(ask("api/readers/lists/A-1", {"code": code, "finding": "score", "word": "3"}) == 400, "what is handed in stays")
    check(ask("api/readers/settle", {"id": "../../x", "finding": "score", "word": "1", "by": "c"}) == 400, "nothing is settled of a clip nobody read")
    for path in ["api/readers/lists/..-1", "api/readers/lists/B-1", "api/readers/clips/0000000000000000/frames", "api/learners/L/sessions/7",
                 "api/readers/lists/A-1/A-1-999/frames", "api/readers/nothing"]:
        check(server.ask(path)[0].status == 404, f"{path} is not there")
    for body in [b"", {}, {"pool": "../x", "clips": 2, "findings": ["score"]}, {"pool": "invented-9", "clips": 2, "findings": ["score"]},
                 {"pool": "invented-1", "clips": 0, "findings": ["score"]}, {"pool": "invented-1", "clips": 10 ** 9, "findings": ["score"]}]:
        check(ask("api/learners/L/sessions", body) == 400, f"no session is drawn by {body}")
    check(ask("api/learners/..", {}) in (400, 404) and not (work / "place" / "report" / "learners" / "L").exists(), "and no folder is made for it")
    check(ask("api/bench", {"task": "../x", "set": {}}) == 404 and ask("api/bench", {"task": "dark"}) == 404, "tasks that are not there")
    check(server.ask("api/readers/lists", "POST", b"{}", {"Content-Type": "application/json"})[0].status == 403, "another page cannot begin a list")

    # ---- signing, what arrived, what the store keeps: hostile and clumsy words ----
    exam = exams[0]
    for body in [b"", b"[", {}, {"study": 7}, {"study": "../arrived"}, {"study": "0" * 16}, {"study": "x" * 5000}]:
        check(ask(f"api/exams/{exam}/arrived", body) in (400, 404), f"nothing is taken for {str(body)[:40]}")
    last = server.json(f"api/exams/{exam}")[1]["says"]["last"]
    for body in [b"", b"[", {}, {"name": "A"}, {"name": "", "last": last}, {"name": "A" * 5000, "last": last}, {"name": ["A"], "last": last},
                 {"name": "A", "last": 10 ** 12}, {"name": "A", "last": "x"}]:
        check(ask(f"api/exams/{exam}/sign", body) == 400, f"not signed by {str(body)[:50]}")
    check(server.ask(f"api/exams/{exam}/sign", "POST", b"{}", {"Content-Type": "application/json"})[0].status == 403, "another page cannot sign")
    check(server.ask(f"api/exams/{exam}/signed.pdf")[0].status == 404, "there is no signed report of what was not signed")
    check(server.json("api/kept")[1]["exams"] == [], "without a store nothing is kept")
    for body in [b"", b"[", {}, {"uid": 3}, {"uid": "../../etc"}, {"uid": ""}, {"uid": "0" * 36}, {"uid": "%" * 36}, {"uid": "0" * 5000}]:
        check(ask("api/kept", body) in (400, 404, 507), f"nothing is brought back for {str(body)[:40]}")
    check(server.ask("api/kept", "POST", b"{}", {"Content-Type": "application/json"})[0].status == 403, "another page cannot bring anything back")
    check(not [one for one in (work / "place").iterdir() if one.name.startswith(".bringing")], "and nothing half done is left")

    bench = server.json("api/bench")[1]
    check(len(bench["chests"]) > 20 and all("nvented" in one["title"] for one in bench["chests"]), "the bench has its chests, all marked as invented")
    ask = lambda body: server.ask("api/bench", "POST", json.dumps(body).encode(), JSON)
    deep = {"chest": "b-three", "frame": 0, "height": 200, "set": {"controls.depth_mm": 90}}
    head, frames, rest = read_frames(ask(deep)[1])
    check(rest == 0 and len(frames) == 1 and len(head["figures"]) > 5, "the bench draws")
    again = read_frames(ask({**deep, "set": {"controls.depth_mm": 90, "controls.gain_db": 15}})[1])
    check(sum(again[1][0][16:]) > sum(frames[0][16:]), "more gain, more light")
    back = read_frames(ask(deep)[1])
    check(back[1][0] == frames[0], "the same controls give the same picture, whatever was turned in between")
    for body in ({}, {"chest": "../x"}, {"chest": "b-three", "set": {"controls.depth_mm": -5}}, {"chest": "b-three", "set": {"controls.grey_map": "../"}}):
        check(ask(body)[0].status == 400, f"the bench refuses {body}")
    check(server.json("api/plan?target=b-lines&wall_mm=30")[0] == 200 and server.json("api/plan?target=nothing")[0] == 400, "the planner answers")
    check(server.json("api/plan?wall_mm=nan&depth_mm=1e999")[0] in (200, 400), "numbers that are none do no harm")

    fresh = server.json("api/exams", "POST", {"date": "2031-05-05", "title": "Invented", "protocol": "8-zones"})
    check(fresh[0] == 201 and (work / "place" / "2031-05-05" / "exam-info.json").exists(), "an examination is begun")

    for one in dawdlers:
        one.join()
    check(closed == [True] * len(dawdlers), "clients that dawdle over their headers are let go; the others were served meanwhile")
    check(server.stop() == 0, "it ends when told to")

    # ---- nothing entered is lost ----
    journal = day / "report" / "says.jsonl"
    with open(journal, "a", encoding="utf-8") as file:
        file.write("{half a line")
    server = Server(work / "place")
    got = server.json(f"api/exams/{exam}")[1]["says"]
    check(got["last"] == 3 and got["damaged"] == 1, "after a restart everything entered is there; a damaged line is left aside and counted")
    check(server.json(f"api/exams/{exam}/says", "POST", [entry("conclude", 20, tab="two", say="Other page.")])[0] == 200 and
          len(server.json(f"api/exams/{exam}")[1]["says"]["entries"]) == 4, "and more can be added")
    check(server.stop() == 0, "it ends again")
    server = Server(work / "place")
    check(server.json(f"api/exams/{exam}")[1]["says"]["last"] == 4, "what was added after the damage is there, too")
    server.stop()
    check(secret.read_text() == "not for you" and clip.read_bytes() == bytes_of, "nothing outside was touched, the clips are as they were")

    # ---- the diaphragm's borders, set by hand ----
    under = work / "borders" / "2031-05-06"
    under.mkdir(parents=True)
    for name, more, ending in (("diaphragm-dome", 9, "dcm"), ("diaphragm-thickening", 9, "dcm"), ("diaphragm-dome", 3, "mp4")):
        subprocess.run([program, "simulate", str(pathlib.Path(scenario).parent / f"{name}.json"), "--out", str(under / f"{name}.{ending}"), "--set",
                        f"controls.duration_s={more}"], check=True, stdout=subprocess.DEVNULL)
    server = Server(work / "borders")
    exam = server.json("api/exams")[1]["exams"][0]["id"]
    state = server.wait_ready(exam)
    clips = {one["clip"]: one for one in state["clips"]}
    dome, muscle, unscaled = clips["diaphragm-dome.dcm"], clips["diaphragm-thickening.dcm"], clips["diaphragm-dome.mp4"]

    def borders(one, which, hand=None, raw=None):
        text = raw if raw is not None else hand if hand is None else json.dumps(hand)
        return server.json(f"api/exams/{exam}/clips/{one['id']}/borders?which={which}" + ("" if text is None else f"&hand={urllib.parse.quote(text)}"))

    value = lambda findings, name: next((one["value"] for one in findings if one["finding"] == name), None)
    status, got = borders(dome, "dome")
    path = got["automatic"]["path"]
    check(status == 200 and path["found"] and len(path["frames"]) == len(path["depth"]) == len(path["times_s"]) > 200, "the dome's border comes over all frames")
    check(abs(value(got["automatic"]["findings"], "diaphragm_excursion_mm") - 18) < 1.5 and got["hand"] is None, "with the figures of the reading")
    whole = [one for one in got["automatic"]["breaths"] if one["whole"]]
    check(len(whole) >= 2 and all(abs(one["way_mm"] - 18) < 1.5 for one in whole), "and every breath")
    same = borders(dome, "dome", {"points": []})[1]
    check(abs(value(same["hand"]["findings"], "diaphragm_excursion_mm") - value(got["automatic"]["findings"], "diaphragm_excursion_mm")) < 0.01,
          "by hand with nothing moved they are the same: one code")
    at = lambda frame: min(range(len(path["frames"])), key=lambda t: abs(path["frames"][t] - frame))
    pin = lambda frame, by=0: {"line": 0, "frame": frame, "depth": path["depth"][at(frame)] + by}
    low, high = whole[0]["frames"]
    hand = {"points": [pin(low - 1), pin(high, -6 / 180), pin(whole[1]["frames"][0] - 1), pin(whole[1]["frames"][1])]}
    moved = borders(dome, "dome", hand)[1]["hand"]
    ways = [one["way_mm"] for one in moved["breaths"] if one["whole"]]
    check(abs(ways[0] - whole[0]["way_mm"] - 6) < 0.6 and abs(ways[1] - whole[1]["way_mm"]) < 0.1, f"one breath moved by 6 mm, the other stays: {ways}")
    check(moved["breaths"][0]["placing_sd_mm"] > 0 and all(one["times_s"][0] < one["times_s"][1] for one in moved["breaths"]), "with what placing adds")
    check(got["automatic"] == borders(dome, "dome", hand)[1]["automatic"], "the program's own stays")
    status, wall = borders(muscle, "muscle")
    check(status == 200 and all(abs(value(wall["automatic"]["findings"], key) - due) < 0.3 for key, due in
                                (("diaphragm_thickness_mm", 2.0), ("diaphragm_thickness_inspired_mm", 2.8))), "the muscle's thickness as simulated")
    p = wall["automatic"]["path"]
    thicker = borders(muscle, "muscle", {"points": [{"line": 1, "frame": p["frames"][100], "depth": p["lower"][100] + 0.4 / 40}]})[1]["hand"]
    check(abs(value(thicker["findings"], "diaphragm_thickness_mm") - value(wall["automatic"]["findings"], "diaphragm_thickness_mm") - 0.4) < 0.03, "its lower border 0.4 mm deeper")
    flat = borders(unscaled, "dome", {"points": [{"line": 0, "frame": 5, "depth": 0.6}, {"line": 0, "frame": 40, "depth": 0.5}],
                                      "turns": [{"frame": 5, "end": "expiration"}, {"frame": 40, "end": "inspiration"}], "anew": True, "beam": 0.5})[1]
    check(not flat["scaled"] and flat["hand"]["breaths"][0]["way_mm"] is None and abs(flat["hand"]["breaths"][0]["way_share"] - 0.1) < 0.002 and
          not any(one["known"] for one in flat["hand"]["findings"]), "without a scale a share of the depth and no millimetres")
    many = {"points": [{"line": 0, "frame": i, "depth": 0.5} for i in range(65)]}
    for what, ask in (("NaN", '{"points":[{"line":0,"frame":3,"depth":NaN}]}'), ("no JSON", "{"), ("a list", "[]"), ("too many points", json.dumps(many)),
                      ("points out of order", json.dumps({"points": [pin(40), pin(20)]})), ("a frame beyond the clip", json.dumps({"points": [{"line": 0, "frame": 10 ** 8, "depth": 0.5}]})),
                      ("a line that is none", json.dumps({"points": [{"line": 1, "frame": 3, "depth": 0.5}]})), ("a depth outside", json.dumps({"points": [{"line": 0, "frame": 3, "depth": 1e300}]})),
                      ("half a megabyte", "[" * 16000), ("turns that do not alternate", json.dumps({"turns": [{"frame": 3, "end": "expiration"}, {"frame": 9, "end": "expiration"}]}))):
        status, answer = borders(dome, "dome", raw=ask)
        check(status in (400, 414, 431) and answer.get("error", ".").endswith("."), f"no borders with {what}: {answer.get('error')}")
    check(borders(dome, "heart")[0] == 400 and server.json(f"api/exams/{exam}/clips/{dome['id']}/borders")[0] == 400, "no such borders")
    check(server.json(f"api/exams/{exam}/clips/0000000000000000/borders?which=dome")[0] == 404, "no such clip")

    say = lambda *entries: server.json(f"api/exams/{exam}/says", "POST", list(entries))
    where = dict(clip=dome["where"], code="dome")
    for bad in (entry("borders", 1, clip=dome["where"], code="heart", say=hand), entry("borders", 2, say=many, **where), entry("borders", 3, say="x", **where),
                entry("borders", 4, code="dome", say=hand)):
        check(say(bad)[0] == 400, f"not kept: {str(bad)[:60]}")
    status, kept = say(entry("borders", 5, say=hand, **where))
    check(status == 200 and [(one["frame"], round(one["depth"], 6)) for one in kept["says"]["entries"][-1]["say"]["points"]] == [(one["frame"], round(one["depth"], 6)) for one in hand["points"]] and kept["says"]["entries"][-1]["at"], "borders set by hand are kept with when")

    def report(): # the table of both readers in the PDF: program's and clinician's number of the excursion
        if not shutil.which("pdftotext"):
            return None
        file = work / "report.pdf"
        file.write_bytes(server.ask(f"api/exams/{exam}/report.pdf")[1])
        text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True).stdout
        rows = [line for line in text.splitlines() if "diaphragm-dome.dcm" in line and "Excursion of the diaphragm" in line]
        return [float(one) for one in re.findall(r"([\d.]+) mm", rows[0])] if rows else []

    due = value(moved["findings"], "diaphragm_excursion_mm")

    def tables(): # of the dome's clip: exam.json and the row of readings.csv, as they are given out
        clips = {one["path"]: one for one in json.loads(server.ask(f"api/exams/{exam}/exam.json")[1])["clips"]}
        rows = {row["path"]: row for row in csv.DictReader(io.StringIO(server.ask(f"api/exams/{exam}/readings.csv")[1].decode()))}
        return clips, rows

    clips, rows = tables()
    mine, row, others = clips[dome["where"]]["diaphragm_by_hand"], rows[dome["where"]], [one for one in clips if one != dome["where"]]
    own = value(clips[dome["where"]]["reading"]["findings"], "diaphragm_excursion_mm")
    check(len(mine) == 1 and (mine[0]["borders"], mine[0]["by"], mine[0]["author"]) == ("dome", "person", "clinician") and mine[0]["at"] == kept["says"]["entries"][-1]["at"],
          "exam.json says who set the borders, and when")
    check(mine[0]["breaths"] == moved["breaths"] and mine[0]["findings"] == moved["findings"] and len(mine[0]["set"]["points"]) == len(hand["points"]),
          "with every breath and the figures that the page shows")
    check(own == value(got["automatic"]["findings"], "diaphragm_excursion_mm") and abs(float(row["diaphragm_excursion_mm"]) - own) < 0.006 and
          abs(float(row["diaphragm_excursion_by_hand_mm"]) - due) < 0.006 and abs(due - own) > 0.1, "the program's own stays, and the table tells the two apart")
    check(row["diaphragm_thickness_by_hand_mm"] == "" and len(others) > 0 and all(clips[one]["diaphragm_by_hand"] == [] and rows[one]["diaphragm_excursion_by_hand_mm"] == "" for one in others),
          "where no hand was there is nothing by hand")
    schema = pathlib.Path(__file__).parents[2] / "docs" / "exam.schema.json"
    try: # the whole file against the schema, where the library is here
        import jsonschema
        made = json.loads(server.ask(f"api/exams/{exam}/exam.json")[1])
        check(not list(jsonschema.Draft202012Validator(json.loads(schema.read_text(encoding="utf-8"))).iter_errors(made)), "exam.json with borders by hand fits its schema")
    except ImportError:
        print("      the library jsonschema is not here: exam.json was not held to its schema")
    wall_hand = {"points": [{"line": 1, "frame": p["frames"][100], "depth": p["lower"][100] + 0.4 / 40}]}
    say(entry("borders", 60, seen=1, clip=muscle["where"], code="muscle", say=wall_hand))
    clips, rows = tables()
    mine, row = clips[muscle["where"]]["diaphragm_by_hand"], rows[muscle["where"]]
    check(len(mine) == 1 and mine[0]["findings"] == thicker["findings"] and mine[0]["breaths"] == thicker["breaths"] and
          abs(float(row["diaphragm_thickness_by_hand_mm"]) - value(thicker["findings"], "diaphragm_thickness_mm")) < 0.0006 and
          abs(float(row["diaphragm_thickening_by_hand"]) - value(thicker["findings"], "diaphragm_thickening")) < 0.06, "the muscle's likewise")
    say(entry("undo", 61, seen=2, of=2))
    clips, rows = tables()
    check(clips[muscle["where"]]["diaphragm_by_hand"] == [] and rows[muscle["where"]]["diaphragm_thickness_by_hand_mm"] == "", "undone it is gone from both")
    if report() is None:
        print("      pdftotext is not here: the report's words were not looked at")
    else:
        check(len(report()) == 2 and abs(report()[1] - due) < 0.06 and abs(report()[0] - value(got["automatic"]["findings"], "diaphragm_excursion_mm")) < 0.06,
              f"the report has the excursion by hand beside the program's: {report()}")
        say(entry("find", 6, clip=dome["where"], code="diaphragm_excursion_mm", say={"known": True, "value": 31.0}))
        check(len(report()) == 2 and report()[1] == 31.0, "a number that was stated goes before it")
        say(entry("undo", 7, seen=4, of=4), entry("undo", 8, seen=5, of=1))
        check(report() == [], "undone it is gone")
    say(entry("undo", 62, seen=6, of=1))
    clips, rows = tables()
    check(clips[dome["where"]]["diaphragm_by_hand"] == [] and rows[dome["where"]]["diaphragm_excursion_by_hand_mm"] == "" and rows[dome["where"]]["diaphragm_excursion_mm"],
          "and from exam.json and readings.csv; the program's own is still there")
    check(server.stop() == 0, "it ends")
finally:
    shutil.rmtree(work, ignore_errors=True)
print(f"{len(failures)} failed")
sys.exit(1 if failures else 0)
