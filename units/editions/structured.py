"""What machines read beside the page: schema.org data."""

from __future__ import annotations

import json
from typing import Any

from django.utils.safestring import SafeString, mark_safe

Document = dict[str, Any]
VARIABLES = ("Cooling capacity (W)", "Electric power (W)", "EER (Btu/(W·h))", "COP (W/W)")


def linked_data(document: Document, sha256: str, address: str) -> SafeString:
    """Return the edition as schema.org JSON-LD: a review of products and the data set behind it."""
    numbered = f"{address}{document['number']}/"
    both = {
        "datePublished": document["published_at"],
        "version": str(document["number"]),
        "license": document["licence"]["url"] or document["licence"]["name"],
    }
    parts = [_review(document, numbered) | both, _data_set(document, numbered, sha256) | both]
    text = json.dumps({"@context": "https://schema.org", "@graph": parts}, ensure_ascii=False, separators=(",", ":"))
    return mark_safe(text.replace("<", "\\u003c"))  # noqa: S308  no tag can end the script element


def _publisher(document: Document) -> Document:
    return {"@type": "Organization", "name": document["published_by"]}


def _review(document: Document, numbered: str) -> Document:
    return {
        "@type": "Review",
        "@id": numbered,
        "url": numbered,
        "name": document["title"],
        "abstract": document["summary"],
        "inLanguage": "en",
        "author": _publisher(document),
        "publisher": _publisher(document),
        "itemReviewed": [_product(unit) for unit in document["units"]],
        "isBasedOn": {"@id": f"{numbered}edition.json"},
    }


def _data_set(document: Document, numbered: str, sha256: str) -> Document:
    return {
        "@type": "Dataset",
        "@id": f"{numbered}edition.json",
        "name": f"{document['title']}: measured points",
        "description": f"Points with conditions, uncertainties and budgets behind “{document['title']}”, "
        f"edition {document['number']}.",
        "creator": _publisher(document),
        "variableMeasured": list(VARIABLES),
        "distribution": [
            _download(f"{numbered}edition.json", "application/json", sha256),
            _download(f"{numbered}points.csv", "text/csv"),
        ],
    }


def _product(unit: Document) -> Document:
    brand = {"@type": "Brand", "name": unit["maker"]}
    return {
        "@type": "Product",
        "name": unit["name"],
        "brand": brand,
        "model": unit["model"],
        "category": unit["kind_label"],
    }


def _download(address: str, kind: str, sha256: str = "") -> Document:
    found = {"@type": "DataDownload", "contentUrl": address, "encodingFormat": kind}
    return found | ({"sha256": sha256} if sha256 else {})
