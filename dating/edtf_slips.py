"""Common slips in writing a date, and what to write instead."""

import re

_SLIPS = (  # what was written (whole text, either case), what to write
    (
        r"(?:c|ca|circa|about|approx)\.?\s*\d{4}(?:-\d\d)?",
        "circa does not say how far off; write between which years, such as [1929..1933]",
    ),
    (
        r"(?:probably|perhaps|possibly|maybe)\s+\d{4}",
        "say between which years it lies, such as [1930..1932]",
    ),
    (
        r"(?:before|after|not|by|until|since|from|pre|post)\b.*",
        "for a date before 1931 write [..1930], after it [1932..]",
    ),
    (r"(\d{4})\s+or\s+(\d{4})", "for one of two years write [{0},{1}]"),
    (
        r"(?:between\s+)?(\d{4})\s*(?:-|\u2013|\u2014|to|and)\s*(\d{4})",
        "for one date in those years write [{0}..{1}]; for something lasting write {0}/{1}",
    ),
    (
        r"(\d\d)(\d\d)[\u2013\u2014](\d\d)",
        "for one date in those years write [{0}{1}..{0}{2}]; "
        "for something lasting write {0}{1}/{0}{2}",
    ),
    (r"(\d{4})\.\.(\d{4})", "a range stands in square brackets: [{0}..{1}]"),
    (r"(\d{4}),\s*(\d{4})", "several years stand in square brackets: [{0},{1}]"),
    (r"(\d\d)00'?s", "write {0}XX for the century or {0}0X for the decade"),
    (r"(\d{3})0'?s", "write the decade {0}X"),
    (r"(\d{3})[ux?-]", "write a decade with X for the digit that is not known: {0}X"),
    (r"(\d\d)(?:uu|xx|--|\?\?)", "write a century with XX for the digits not known: {0}XX"),
    (r"(\d{4})-(\d)", "a month has two digits: {0}-{1:0>2}"),
    (r"(\d{4})-(\d{1,2})-(\d{1,2})", "month and day have two digits: {0}-{1:0>2}-{2:0>2}"),
    (r"(\d{4})(\d\d)(\d\d)", "hyphens are needed: {0}-{1}-{2}"),
    (r"(\d{4})(\d\d)", "a hyphen is needed: {0}-{1}"),
    (r"\d{1,2}[./]\d{1,2}[./](\d{4})", "write year, month, day, as in {0}-04-12"),
    (r"unknown", "leave an unknown end empty, as in 1931/ or /1931"),
    (r"open|present|now", "an open end is .., as in 1931/.."),
    (r"Y(\d{4})", "a year of four digits takes no Y: {0}"),
    (r"(?:Y-?\d|-\d|\d{5}).*", "only years from 0001 to 9999 are read, as in 1931"),
    (r"\d{4}-?W.*", "weeks are not allowed; write the days, as in [1931-03-02..1931-03-08]"),
    (r"P.*\d.*", "durations are not allowed; write both ends, as in 1931/1932"),
    (r".*T\d.*", "a time is written 1931-04-12T10:30:00, and only where the date stands alone"),
    (r"(\d{4}.*?)(?:\?~|~\?)", "uncertain and approximate together are %: {0}%"),
    (r".*[()].*", "no round brackets; put the mark before its part, as in 2004-?06-11"),
    (r"['\u2019]?\d{1,3}", "a year has four digits, as in 1931; a month follows it, as in 1931-04"),
)
_NAMED = re.compile(r"(?:(\d{1,2})\s+)?([a-z]{3,9})\.?\s+(\d{4})", re.IGNORECASE)
_NAMES = (
    *enumerate(["january", "february", "march", "april", "may", "june", "july", "august"], 1),
    *enumerate(["september", "october", "november", "december"], 9),
    *((21, "spring"), (22, "summer"), (23, "autumn"), (23, "fall"), (24, "winter")),
)


def vague(marks: str) -> str:
    """Say why a date with a mark of doubt cannot be weighed.

    Examples
    --------
    >>> vague("?")
    '? does not say how far off'
    """
    return f"{marks} does not say how far off"


def remedy(text: str) -> str:
    """Say what to write instead of a text that is not EDTF.

    Examples
    --------
    >>> remedy("1930s"), remedy("April 1931")
    ('write the decade 193X', 'write 1931-04')
    """
    for slip, advice in _SLIPS:
        if match := re.fullmatch(slip, text, re.IGNORECASE):
            return advice.format(*match.groups())
    if match := _NAMED.fullmatch(text):
        day, name, year = match.groups()
        codes = [code for code, full in _NAMES if full.startswith(name.lower())]
        if codes:
            return f"write {year}-{codes[0]:02d}" + (f"-{day:0>2}" if day else "")
    return ""
