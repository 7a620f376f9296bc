"""Address patterns: the specification's rules as truth tables, and patterns made to backtrack.

Printed cases are from the OSC 1.0 specification and its examples page (Wright, 26 March 2002).
"""

import itertools
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.osc import pattern as pattern_module
from meantide.osc.pattern import MOST_CHARACTERS, Pattern, is_pattern


@pytest.mark.parametrize(
    ("pattern", "yes", "no"),
    [
        ("/?/b/*c", ["/a/b/cc", "/a/b/c"], ["/a/b/c/c", "/a/b", "/aa/b/c"]),  # printed
        ("/second/[!1]", ["/second/2"], ["/second/1", "/second/", "/second/22"]),
        ("/second/[1-2]", ["/second/1", "/second/2"], ["/second/3", "/second/-"]),  # printed
        ("/third/*", ["/third/a", "/third/"], ["/third", "/third/a/b"]),  # printed
        ("/{a,bc}", ["/a", "/bc"], ["/b", "/abc", "/c", "/"]),
        ("/{foo,bar}x", ["/foox", "/barx"], ["/foo", "/foobarx"]),  # printed: "{foo,bar}"
        ("/[a-]", ["/a", "/-"], ["/b"]),  # "-" at the end "has no special meaning"
        ("/[-a]", ["/a", "/-"], ["/b"]),
        ("/[a!]", ["/a", "/!"], ["/b"]),  # nor "!" elsewhere than at the beginning
        ("/[!a-c-]", ["/d", "/!"], ["/a", "/b", "/c", "/-"]),
        ("/[c-a]", ["/a", "/b", "/c"], ["/d", "/-"]),
        ("/{,a}b", ["/b", "/ab"], ["/a", "/aab"]),
        ("/*a*b*", ["/ab", "/xaxbx", "/aab"], ["/ba", "/a", "/b"]),
        ("/**", ["/", "/abc"], ["/a/b"]),
        ("/a?c", ["/abc"], ["/ac", "/abbc", "/abC"]),
        ("/{aa,a}{ab,b}", ["/aab", "/aaab", "/ab"], ["/aaaab", "/aabb"]),
        ("/plain", ["/plain"], ["/plain2", "/Plain"]),
    ],
)
def test_what_a_pattern_matches(pattern: str, yes: list[str], no: list[str]) -> None:
    assert Pattern(pattern).find([*yes, *no]) == yes
    assert [Pattern(pattern).matches(address) for address in no] == [False] * len(no)


def test_the_printed_bundle_is_dispatched_to_its_six_methods() -> None:
    """{/first/this/one, /second/[1-2], /third/*}: 1, then 2, then 3 methods, in 12 legal orders.

    The page numbers the last three "(3-6)", a misprint for 4-6: 1! 2! 3! = 12 says so.
    """
    methods = ["/first/this/one", "/second/1", "/second/2", "/third/a", "/third/b", "/third/c"]
    counts = [
        len(Pattern(pattern).find(methods))
        for pattern in ("/first/this/one", "/second/[1-2]", "/third/*")
    ]
    assert counts == [1, 2, 3]


@pytest.mark.parametrize(
    "pattern", ["/[a", "/a]", "/{a", "/a}", "/[]", "/[!]", "/{a*}", "/[?]", "/{a,{b}}", "/[/]"]
)
def test_what_is_no_pattern_is_refused(pattern: str) -> None:
    with pytest.raises(InvalidValue, match="pattern"):
        Pattern(pattern)


def test_only_special_characters_make_a_pattern() -> None:
    assert [is_pattern(each) for each in ("/a", "/a-b!c", "/a*", "/?", "/[a]", "/{a}")] == [
        False, False, True, True, True, True,
    ]  # fmt: skip


letters = st.sampled_from("ab")
elements = st.one_of(
    letters,
    st.sampled_from(["?", "*", "[a]", "[!a]", "[a-b]", "{a,ab}", "{ba,b,a}", "{,b}", "[b-]"]),
)


def as_regex(part: str) -> str:
    """Write a part of a pattern as a regular expression: the other implementation."""
    part = part.replace("?", ".").replace("*", ".*").replace("[!", "[^")
    return re.sub(r"\{([^}]*)\}", lambda found: f"(?:{found[1].replace(',', '|')})", part)


@given(st.lists(elements, max_size=7).map("".join))
def test_agrees_with_regular_expressions_on_all_short_names(part: str) -> None:
    names = ["".join(n) for size in range(6) for n in itertools.product("ab", repeat=size)]
    ours = Pattern("/" + part)
    expected = [name for name in names if re.fullmatch(as_regex(part), name)]
    assert ours.find("/" + name for name in names) == ["/" + name for name in expected]


@pytest.mark.parametrize(
    "part",
    ["*a" * 127, "{a,aa}" * 42, "*?" * 120, "{a,ab,abc,abcd}*" * 15, "[!b]*" * 50, "*" * 255],
)
def test_no_pattern_costs_more_than_its_length(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted, not timed: each element is asked once for a name; a regular expression needs 2^n."""
    asked = 0
    for kind in ("_Letter", "_AnyLetter", "_Anything", "_OneOf", "_Words"):
        counted = getattr(pattern_module, kind)

        def reach(self: object, *where: object, real: object = counted.reach) -> object:
            nonlocal asked
            asked += 1
            return real(self, *where)  # type: ignore[operator]

        monkeypatch.setattr(counted, "reach", reach)
    pattern = Pattern("/" + part)
    pattern.matches("/" + "a" * 400 + "b.")
    assert 0 < asked <= len(part)


def test_a_pattern_has_a_longest() -> None:
    Pattern("/" + "*a" * 127)
    with pytest.raises(InvalidValue, match=f"at most {MOST_CHARACTERS}"):
        Pattern("/" + "*a" * 128)
