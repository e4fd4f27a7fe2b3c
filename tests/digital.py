"""Digital calibration certificates for tests: whole ones, and hostile ones. Invented."""

from __future__ import annotations

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<dcc:digitalCalibrationCertificate xmlns:dcc="https://ptb.de/dcc" xmlns:si="https://ptb.de/si" '
    'schemaVersion="3.3.0">'
)
TAIL = "</dcc:digitalCalibrationCertificate>"


def name(text: str) -> str:
    return f'<dcc:name><dcc:content lang="en">{text}</dcc:content></dcc:name>'


def admin(number: str = "DCC-77", serial: str = "HW-1", day: str = "2026-05-13") -> str:
    return (
        "<dcc:administrativeData><dcc:coreData>"
        "<dcc:countryCodeISO3166_1>XX</dcc:countryCodeISO3166_1>"
        f"<dcc:uniqueIdentifier>{number}</dcc:uniqueIdentifier>"
        "<dcc:beginPerformanceDate>2026-05-01</dcc:beginPerformanceDate>"
        f"<dcc:endPerformanceDate>{day}</dcc:endPerformanceDate></dcc:coreData>"
        f"<dcc:items><dcc:item>{name('Hydraulic torque wrench')}<dcc:identifications>"
        f"<dcc:identification><dcc:issuer>manufacturer</dcc:issuer><dcc:value>{serial}</dcc:value>"
        f"{name('Serial number')}</dcc:identification></dcc:identifications></dcc:item></dcc:items>"
        "<dcc:calibrationLaboratory><dcc:calibrationLaboratoryCode>XX-1</dcc:calibrationLaboratoryCode>"
        f"<dcc:contact>{name('Bench Lab')}</dcc:contact></dcc:calibrationLaboratory>"
        "</dcc:administrativeData>"
    )


def listed(
    ref_type: str, unit: str, values: str, expanded: str = "", k: str = "2", *, older: bool = False
) -> str:
    """One quantity as a list; ``older`` writes its uncertainty as the D-SI before 2.2 did."""
    stated = ""
    if expanded and older:
        stated = (
            f"<si:expandedUncXMLList><si:uncertaintyXMLList>{expanded}</si:uncertaintyXMLList>"
            f"<si:coverageFactorXMLList>{k}</si:coverageFactorXMLList></si:expandedUncXMLList>"
        )
    elif expanded:
        stated = (
            "<si:measurementUncertaintyUnivariateXMLList><si:expandedMUXMLList>"
            f"<si:valueExpandedMUXMLList>{expanded}</si:valueExpandedMUXMLList>"
            f"<si:coverageFactorXMLList>{k}</si:coverageFactorXMLList>"
            "</si:expandedMUXMLList></si:measurementUncertaintyUnivariateXMLList>"
        )
    return (
        f'<dcc:quantity refType="{ref_type}">{name(ref_type)}<si:realListXMLList>'
        f"<si:valueXMLList>{values}</si:valueXMLList><si:unitXMLList>{unit}</si:unitXMLList>{stated}"
        "</si:realListXMLList></dcc:quantity>"
    )


PRESSURES = listed("basic_nominalValue", r"\mega\pascal", "20 40 70")
TORQUES = listed("basic_measuredValue", r"\newton\metre", "606 1210 2110", "6 10 15")


def result(quantities: str = PRESSURES + TORQUES, called: str = "As found", ref_type: str = "") -> str:
    return (
        f'<dcc:result refType="{ref_type}">{name(called)}<dcc:data><dcc:list>{quantities}</dcc:list>'
        "</dcc:data></dcc:result>"
    )


def dcc(*results: str, administrative: str = "", head: str = HEAD) -> bytes:
    found = "".join(results or (result(),))
    return (
        f"{head}{administrative or admin()}<dcc:measurementResults><dcc:measurementResult>"
        f"{name('Torque')}<dcc:results>{found}</dcc:results></dcc:measurementResult>"
        f"</dcc:measurementResults>{TAIL}"
    ).encode()


def _declared(doctype: str) -> bytes:
    return dcc(head=HEAD.replace("\n", f"\n{doctype}\n"))


LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
# What may be sent instead of a certificate, and a word of the sentence that it is refused with.
HOSTILE: dict[str, tuple[bytes, str]] = {
    "billion laughs": (
        _declared(f'<!DOCTYPE x [<!ENTITY l0 "ha">{LAUGHS}]>').replace(b"Bench Lab", b"&l9;"),
        "document type",
    ),
    "quadratic blow-up": (
        _declared(f'<!DOCTYPE x [<!ENTITY a "{"a" * 50_000}">]>').replace(b"Bench Lab", b"&a;" * 500),
        "document type",
    ),
    "external entity": (
        _declared('<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>').replace(b"Bench Lab", b"&e;"),
        "document type",
    ),
    "external document type": (
        _declared('<!DOCTYPE x SYSTEM "http://127.0.0.1:1/x.dtd">'),
        "document type",
    ),
    "parameter entity": (
        _declared('<!DOCTYPE x [<!ENTITY % p SYSTEM "http://127.0.0.1:1/p">%p;]>'),
        "document type",
    ),
    "inclusion": (
        dcc(result() + '<i:include xmlns:i="http://www.w3.org/2001/XInclude" href="file:///etc/passwd"/>'),
        "includes other files",
    ),
    "huge attribute": (dcc(head=HEAD.replace("schema", f'x="{"y" * 5_000_001}" schema')), "bytes"),
    "deep nesting": (dcc("<dcc:x>" * 5000 + "</dcc:x>" * 5000), "nested too deeply"),
    "many elements": (dcc("<dcc:x/>" * 60_000), "too many elements"),
    "wrong namespace": (
        dcc(head=HEAD.replace("https://ptb.de/dcc", "https://example.org/dcc")),
        "digitalCal",
    ),
    "no namespace": (b"<digitalCalibrationCertificate/>", "digitalCal"),
    "another document": (b"<html><body>Not found</body></html>", "digitalCal"),
    "older schema": (dcc(head=HEAD.replace("3.3.0", "2.4.0")), "schema '2.4.0'"),
    "cut short": (dcc()[:-40], "cannot be read as XML"),
    "wrong encoding": (dcc().replace(b"Bench Lab", b"Pr\xfcf Lab"), "cannot be read as XML"),
    "unknown encoding": (dcc(head=HEAD.replace("UTF-8", "x-none-such")), "cannot be read as XML"),
    "unknown entity": (dcc().replace(b"Bench Lab", b"&none;"), "cannot be read as XML"),
    "empty": (b"", "empty"),
    "blank": (b" \n\t ", "empty"),
    "zero bytes": (b"<\0\0\0", "cannot be read as XML"),
}
