"""The page served beyond this machine: TLS, users, roles, sessions, limits, the log. Standard library only.
Held to: RFC 9106 (Argon2id in the kept form "$argon2id$"), RFC 6265bis (the __Host- cookie and its attributes), RFC 6797
(Strict-Transport-Security), RFC 8996 (nothing older than TLS 1.2), NIST SP 800-63B-3 5.2.2 (wrong tries are slowed down).
Usage: check_door.py STRANDLINE"""
import hashlib
import http.client
import json
import os
import pathlib
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import tempfile

program = sys.argv[1]
work = pathlib.Path(tempfile.mkdtemp(prefix="strandline-door-"))
access = work / "access"
failures = []
JSON = {"X-Strandline": "1", "Content-Type": "application/json"}
LONG = "seven quiet herons"


def check(truth, what):
    print("ok  " if truth else "FAIL", what)
    if not truth:
        failures.append(what)


def users(*words, password=None):
    return subprocess.run([program, "users", *words, "--access", str(access)], input=password, capture_output=True, text=True)


def serve(*more, on="127.0.0.1"):
    return subprocess.Popen([program, "serve", str(work / "place"), "--on", on, "--name", "127.0.0.1", "--port", str(port), "--access",
                             str(access), *more], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def ask(path, method="GET", body=None, headers=None, cookie=None):
    link = http.client.HTTPSConnection("127.0.0.1", port, timeout=60, context=context)
    headers = dict(headers if headers is not None else JSON if method != "GET" else {})
    if cookie:
        headers["Cookie"] = cookie
    link.request(method, path, None if body is None else body if isinstance(body, bytes) else json.dumps(body).encode(), headers)
    answer = link.getresponse()
    data = answer.read()
    link.close()
    return answer, data


def enter(name, password):
    answer, data = ask("/api/session", "POST", {"name": name, "password": password})
    cookie = answer.getheader("Set-Cookie")
    return answer.status, (cookie or "").split(";")[0], cookie, data


try:
    (work / "place" / "2031-03-04").mkdir(parents=True)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]

    # ---- who may enter ----
    none = serve()
    said = none.communicate(timeout=60)[1]
    check(none.returncode != 0 and "Nobody may enter yet" in said, "without users it does not listen beyond this machine")
    wrong = subprocess.run([program, "serve", str(work / "place"), "--on", "0.0.0.0"], capture_output=True, text=True)
    check(wrong.returncode == 2 and "--name" in wrong.stderr, "nor without the name that others reach it by")
    check(users("add", "warden", "--role", "administrator", password="short\n").returncode != 0, "a short password is refused")
    check(users("add", "warden", "--role", "administrator", password="a" * 20 + "\n").returncode != 0, "and one of a single letter")
    check(users("add", "../x\ty", "--role", "reader", password=LONG + "\n").returncode != 0, "a strange name is refused")
    check(users("add", "warden", "--role", "chief", password=LONG + "\n").returncode == 2, "and a role that is none")
    for name, role in (("warden", "administrator"), ("rita reader", "reader"), ("leo", "learner")):
        check(users("add", name, "--role", role, password=f"{LONG} {role}\n").returncode == 0, f"{role} added")
    check(users("add", "leo", "--role", "reader", password=LONG + "\n").returncode != 0, "no name twice")
    check(users("remove", "warden").returncode != 0, "the only administrator stays")
    kept = (access / "users.json").read_text()
    check(LONG not in kept and kept.count("$argon2id$v=19$m=65536,t=2,p=1$") == 3, "passwords are kept as Argon2id")
    check(os.stat(access / "users.json").st_mode & 0o077 == 0, "the table is its owner's alone")

    # ---- TLS ----
    server = serve()
    lines = [server.stdout.readline().strip() for _ in range(4)]
    finger = next(line for line in lines if "SHA-256" in line).split(": ")[1]
    check(lines[-1] == f"https://127.0.0.1:{port}/" and "not a medical device" in lines[0].lower(), "it says where it is, and the caution")
    check(os.stat(access / "server.pem").st_mode & 0o077 == 0, "its key is its owner's alone")
    context = ssl.create_default_context(cafile=str(access / "server.pem"))
    der = ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate(("127.0.0.1", port), ca_certs=str(access / "server.pem")))

    check(hashlib.sha256(der).hexdigest().upper() == finger.replace(":", ""), "the fingerprint printed is that of the certificate")
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.maximum_version = ssl.TLSVersion.TLSv1_1
    old.set_ciphers("ALL:@SECLEVEL=0")
    try:
        with socket.create_connection(("127.0.0.1", port)) as raw, old.wrap_socket(raw):
            check(False, "TLS 1.1 is refused")
    except (ssl.SSLError, OSError):
        check(True, "TLS 1.1 is refused")
    with socket.create_connection(("127.0.0.1", port), timeout=30) as raw:
        raw.sendall(b"GET /api/exams HTTP/1.1\r\nHost: localhost\r\n\r\n")
        try:
            check(b"200" not in raw.recv(1000), "no answer without TLS")
        except OSError:
            check(True, "no answer without TLS")

    # ---- before and after signing in ----
    answer, data = ask("/")
    check(answer.status == 200 and answer.getheader("Strict-Transport-Security"), "the empty page comes to anyone, and asks for TLS from now on")
    check(json.loads(ask("/api/session")[1]) == {"needed": True}, "it says that one has to sign in")
    for path in ("/api/exams", "/api/tables", "/api/users", "/api/access", "/api/bench", "/api/plan?target=b-lines", "/api/exams/x/report.pdf"):
        check(ask(path)[0].status == 401, f"nothing before that: {path}")
    check(ask("/api/exams", "POST", {"date": "2031-05-05"})[0].status == 401, "and no change")
    check(ask("/api/exams", cookie="__Host-strandline=" + "0" * 64)[0].status == 401, "an invented key opens nothing")
    status, cookie, whole, data = enter("rita reader", LONG + " reader")
    check(status == 200 and json.loads(data)["role"] == "reader", "a reader signs in")
    check(re.fullmatch(r"__Host-strandline=[0-9a-f]{64}; Secure; HttpOnly; SameSite=Strict; Path=/; Max-Age=\d+", whole or ""),
          "the cookie is this host's, secure, not for scripts, not for other pages")
    check(ask("/api/exams", cookie=cookie)[0].status == 200, "and sees the examinations")
    check(ask("/api/users", cookie=cookie)[0].status == 403 and ask("/api/access", cookie=cookie)[0].status == 403, "a reader does not rule")
    check(ask("/api/exams", "POST", {"date": "2031-05-05", "title": "Invented"}, cookie=cookie)[0].status == 201, "a reader begins an examination")
    status, learner, _, _ = enter("leo", LONG + " learner")
    check(status == 200 and ask("/api/exams", cookie=learner)[0].status == 200, "a learner looks")
    check(ask("/api/exams", "POST", {"date": "2031-05-06"}, cookie=learner)[0].status == 403, "and changes nothing")
    exam = json.loads(ask("/api/exams", cookie=cookie)[1])["exams"][0]["id"]
    check(ask(f"/api/exams/{exam}/says", "POST", [{"uid": "u1", "tab": "t", "seen": 0, "kind": "conclude", "say": "x"}], cookie=learner)[0].status == 403,
          "nor enters a finding")
    check(ask(f"/api/exams/{exam}/clips?name=a.mp4", "PUT", b"x", {"X-Strandline": "1", "Content-Type": "application/octet-stream"}, learner)[0].status == 403,
          "nor brings in a clip")
    check(ask("/api/bench", "POST", {"chest": "b-three", "frame": 0, "height": 100}, cookie=learner)[0].status == 200, "but works at the bench")
    answer, data = ask(f"/api/exams/{exam}/says", "POST", [{"uid": "u2", "tab": "t", "seen": 0, "kind": "conclude", "say": "Invented.", "by": "warden"}], cookie=cookie)
    entries = json.loads(data)["says"]["entries"]
    check(answer.status == 200 and entries[-1]["by"] == "rita reader", "what is entered bears the name of who signed in, whatever it claims")

    # ---- foreign pages ----
    for headers in ({"Host": "evil.example"}, {"Origin": "https://evil.example"}, {"Origin": f"http://127.0.0.1:{port}"}, {"Sec-Fetch-Site": "cross-site"}):
        check(ask("/api/exams", headers=headers, cookie=cookie)[0].status in (403, 421), f"refused with a good cookie: {headers}")
    check(ask(f"/api/exams/{exam}", cookie=cookie)[0].status == 200, "an examination is looked at")
    check(ask("/api/exams", "POST", {"date": "2031-05-07"}, {"Content-Type": "application/json"}, cookie)[0].status == 403, "and a change without our header")

    # ---- an administrator; what changes ends sessions ----
    status, ruler, _, _ = enter("warden", LONG + " administrator")
    check(ask("/api/users", "POST", {"do": "add", "name": "new", "role": "reader", "password": "no"}, cookie=ruler)[0].status == 400, "a bad password is refused there, too")
    check(ask("/api/users", "POST", {"do": "role", "name": "leo", "role": "reader"}, cookie=ruler)[0].status == 200, "a role is changed")
    check(ask("/api/exams", cookie=learner)[0].status == 401, "whose old session is over")
    check(users("remove", "rita reader").returncode == 0 and ask("/api/exams", cookie=cookie)[0].status == 401,
          "one removed on the command line is out at once")
    status, again, _, _ = enter("leo", LONG + " learner")
    answer, data = ask("/api/session/password", "POST", {"old": "wrong wrong wrong", "new": "nine loud bitterns"}, cookie=again)
    check(answer.status == 400, "a new password needs the old one")
    answer, data = ask("/api/session/password", "POST", {"old": LONG + " learner", "new": "nine loud bitterns"}, cookie=again)
    check(answer.status == 200 and ask("/api/exams", cookie=again)[0].status == 401 and enter("leo", "nine loud bitterns")[0] == 200,
          "with it the password is changed, and one signs in anew")
    check(ask("/api/session/end", "POST", {}, cookie=ruler)[0].status == 200 and ask("/api/exams", cookie=ruler)[0].status == 401, "signed out is out")

    # ---- guessing ----
    codes = [enter("warden", f"wrong password {i}")[0] for i in range(8)]
    check(codes[:5] == [401] * 5 and 429 in codes[5:], f"guessing is slowed down: {codes}")
    answer, data = ask("/api/session", "POST", {"name": "warden", "password": LONG + " administrator"})
    check(answer.status == 429 and "Wait" in json.loads(data)["error"], "the right one has to wait as well")
    for body in (b"", b"[]", b"{", b'{"name": 7}', b'{"name": "' + b"x" * 5000 + b'", "password": ""}', b"\xff" * 50):
        check(ask("/api/session", "POST", body)[0].status in (400, 401, 429), f"bad words: {body[:20]!r}")
    codes = []

    link = http.client.HTTPSConnection("127.0.0.1", port, timeout=60, context=context)
    for _ in range(900):
        link.request("GET", "/api/session")
        answer = link.getresponse()
        answer.read()
        codes.append(answer.status)
        if answer.status == 429:
            break
    link.close()
    check(429 in codes and set(codes) <= {200, 429}, f"one address that asks without end is told to wait (after {len(codes)})")
    server.send_signal(signal.SIGTERM)
    check(server.wait(60) == 0, "it ends when told to")

    # ---- the log ----
    log = (access / "access.jsonl").read_text().splitlines()
    said = users("log")
    check(said.returncode == 0 and "each follows" in said.stdout, "the log holds together")
    whats = [json.loads(line.rsplit(" ", 1)[0])["what"] for line in log]
    check({"started", "stopped", "entered", "wrong password or name", "had to wait", "changed", "users changed", "left", "looked", "refused"} <= set(whats),
          f"it says who entered, failed, looked, changed: {sorted(set(whats))}")
    check(LONG not in "\n".join(log) and "0" * 64 not in "\n".join(log), "and holds no password and no key")
    (access / "access.jsonl").write_text("\n".join(log[:3] + [log[3].replace('"who":"', '"who":"x')] + log[4:]) + "\n")
    bad = users("log")
    check(bad.returncode != 0 and "line 4" in bad.stderr, "a line that was changed is named")
    (access / "access.jsonl").write_text("\n".join(log[:3] + log[4:]) + "\n")
    check(users("log").returncode != 0, "a line that was taken out is missed")
    (access / "users.json").write_text("{half")
    check("damaged" in users("list").stderr, "a damaged table is named")

    # ---- certificates of one's own ----
    for files, words in (((access / "access.jsonl", access / "server.pem"), "holds no certificate"), ((access / "server.pem", work / "none"), "none")):
        (access / "users.json").write_text(kept)
        one = serve("--certificate", str(files[0]), "--key", str(files[1]))
        said = one.communicate(timeout=60)[1]
        check(one.returncode != 0 and words in said, f"a certificate that will not do: {said.strip()[-80:]}")
finally:
    shutil.rmtree(work, ignore_errors=True)
print(f"{len(failures)} failed")
sys.exit(1 if failures else 0)
