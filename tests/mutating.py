"""Ways to spoil a file: its structure, its values, its text, its bytes."""

import copy

import yaml

JUNK = [
    None, True, False, 0, -1, 0.5, 1e-320, 1e308, -1e308, 10**30, float("nan"), float("inf"),
    "", " ", "x", "x" * 5000, "É\u200b", "not examined", "variant", "document 1",
    [], {}, [[]], [1, 2], [1, 2, 3], [3, 2, 1], [0, 0, 0], [{}], {"a": 1}, {"state": "x"},
    {"earliest": "1930-01", "likely": "1930-01", "latest": "1931-01"}, {"one_of": []},
    "1931", "1931-02", "1931-13", "1931-02-30", "31/02/1931", "1931.5", 1931.02, "193X", "1931~",
    "[1931..]", "[1931-04,1932-04]", "{1931,1932}", "1931/1932", "1932/1931", "/1931", "../..",
    "0001-01", "9999", "9999-12-31", "XXXX-XX-XX", "Y170000", "2001-21", "1930-01/1930-01",
    "0001/9999", {"by_variant": {}}, {"history": []}, {"history": [{"state": "x"}]},
]  # fmt: skip

NUMBERS = [0, 1, -1, 2, 1e-12, 1e-320, 1e9, -1e9, 1e308, 10**200, 0.999, 1 - 1e-16]
TRIPLES = [
    [0, 0, 0], [0, 0, 1], [0, 1e-300, 2e-300], [1e-300, 1e-150, 1], [1, 1 + 1e-14, 1 + 2e-14],
    [1e9, 1e9, 1e9], [-1e9, 0, 1e9], [1e-9, 1, 1e9], [999999999.9999999, 1e9, 1e9],
    ["1925-01", "1925-01", "1925-01"], ["1750-01", "1850-01", "1949-12"],
    ["0001-01", "1930-01", "9999-12"], ["1925-01-01", "1925-01-02", "1925-01-03"],
    {"shortest": 1, "likely": 3, "longest": 9, "coverage": 1e-3},
    {"shortest": 1, "likely": 3, "longest": 9, "coverage": 1 - 1e-12, "weight": 1e-300},
    {"earliest": "1925-01", "likely": "1925-03", "latest": "1925-05", "coverage": 1e-6},
]  # fmt: skip

ADDED = ["state", "shares", "with", "lag", "x", "by_variant", "free_form"]
INSERTS = [
    b"\t", b"\x00", b"\xff", b"\xc3\x28", b"\xef\xbb\xbf", b"\r", b"\n", b":", b"- ", b"? ", b"#",
    b"&a ", b"*a ", b"!!python/object/apply:os.getcwd [] ", b"!secret ", b"'", b'"', b"{", b"]",
    b"---\n", b"...\n", b"<<: *a\n", b"%YAML 9.9\n", b"|\n", b">-\n", b"@", b"`", b"\xe2\x80\xa8",
]  # fmt: skip

WHOLE = {
    "empty": b"",
    "only a comment": b"# nothing\n",
    "only null": b"null\n",
    "a list": b"- a\n- b\n",
    "a word": b"maker\n",
    "a number": b"1e999\n",
    "two documents": b"a: 1\n---\nb: 2\n",
    "nested deep": b"[" * 5000,
    "nested deep and closed": b"a: " + b"[" * 60 + b"]" * 60,
    "mapping nested deep": b"".join(b" " * i + b"a:\n" for i in range(80)),
    "alias bomb": b"a: &a [x,x,x,x,x,x,x,x,x]\n"
    + b"".join(
        b"%c: &%c [%s]\n" % (c + 1, c + 1, b",".join([b"*%c" % c] * 9)) for c in range(97, 115)
    ),
    "an alias of itself": b"a: &x [*x]\n",
    "a mapping of itself": b"&x {a: *x}\n",
    "many aliases": b"a: &a 1\nb: [" + b"*a," * 300 + b"]\n",
    "an unknown alias": b"a: *nowhere\n",
    "not UTF-8": b"maker: caf\xe9\n",
    "UTF-16": "maker: x\n".encode("utf-16"),
    "a zero byte": b"maker: a\x00b\n",
    "tabs": b"maker:\n\tfoo: bar\n",
    "a key that is a list": b"[a, b]: 1\n",
    "a key that is a mapping": b"{a: 1}: 1\n",
    "a tag": b"maker: !!python/object/apply:os.system ['true']\n",
    "an integer of many digits": b"maker: " + b"9" * 100_000 + b"\n",
    "a long line": b"maker: " + b"x" * 500_000 + b"\n",
    "a long list": b"maker: [" + b"1," * 150_000 + b"]\n",
    "too many values": b"maker: [" + b"1," * 250_000 + b"]\n",
    "too large": b"#" * 2_000_001,
}


def places(data, path=()):
    """List the path of every value below the top."""
    found = [path] if path else []
    items = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in items:
        deeper = isinstance(value, dict | list)
        found += places(value, (*path, key)) if deeper else [(*path, key)]
    return found


def spoiled_structure(data, rng):
    """Return a copy of some plain data with one to three changes of structure or value."""
    data = copy.deepcopy(data)
    for _ in range(rng.choice([1, 1, 2, 3])):
        known = places(data)
        if known:
            _spoil(data, rng.choice(known), rng)
    return data


def _spoil(data, path, rng):
    *above, key = path
    parent = data
    for step in above:
        parent = parent[step]
    changes = ["junk", "drop", "rename", "wrap", "swap", "deepen", "add", *["alike"] * 10]
    change = rng.choice(changes)
    if change == "drop":
        del parent[key]
    elif change == "rename" and isinstance(parent, dict):
        parent[rng.choice([key[:-1], key + "s", key.upper(), "x"])] = parent.pop(key)
    elif change == "wrap":
        parent[key] = rng.choice([[parent[key]], {"value": parent[key]}, {key: parent[key]}])
    elif change == "swap" and isinstance(parent, dict):
        other = rng.choice(list(parent))
        parent[key], parent[other] = parent[other], parent[key]
    elif change == "deepen":
        for _ in range(rng.choice([2, 60])):
            parent[key] = [parent[key]]
    elif change == "alike":
        parent[key] = _alike(parent[key], rng, data)
    elif change == "add" and isinstance(parent, dict):
        parent[rng.choice(ADDED)] = copy.deepcopy(rng.choice(JUNK))
    else:
        parent[key] = copy.deepcopy(rng.choice(JUNK))


def _alike(value, rng, data):
    """Return another value of the same kind: one that a file may well hold by mistake."""
    if isinstance(value, int | float):
        return rng.choice([value * 2, -value, value / 1000, *NUMBERS])
    if isinstance(value, str):
        texts = [junk for junk in JUNK if isinstance(junk, str)]
        names = [step for path in places(data) for step in path if isinstance(step, str)]
        alike = rng.choice([rng.choice(texts), rng.choice(names), rng.choice(TRIPLES)])
        return copy.deepcopy(alike)
    if isinstance(value, list):
        if len(value) == 3 and rng.random() < 0.7:
            return copy.deepcopy(rng.choice(TRIPLES))
        return rng.choice([value[:-1], value[1:], value[::-1], value + value, []])
    items = list(value.items()) if isinstance(value, dict) else []
    return rng.choice([dict(items[1:]), dict(items[:1]), {}, dict(reversed(items))])


def written(data):
    """Write plain data as YAML."""
    return yaml.safe_dump(data, sort_keys=False, allow_unicode=True).encode()


def spoiled_text(content, rng):
    """Return the bytes of a file with one change to lines or bytes."""
    lines = content.splitlines(keepends=True)
    at, line = rng.randrange(len(content)), rng.randrange(len(lines))
    change = rng.choice(["cut", "flip", "flip", "insert", "insert", "drop", "double", "indent"])
    if change == "cut":
        return content[:at]
    if change == "flip":
        return content[:at] + bytes([content[at] ^ 1 << rng.randrange(8)]) + content[at + 1 :]
    if change == "insert":
        return content[:at] + rng.choice(INSERTS) + content[at:]
    middle = {"drop": [], "double": [lines[line]] * 2, "indent": [b"  " + lines[line]]}[change]
    return b"".join([*lines[:line], *middle, *lines[line + 1 :]])
