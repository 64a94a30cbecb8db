"""Encodings of logs, told from their bytes."""

from __future__ import annotations

import pytest

from reduction.readers.encoding import decode
from reduction.readers.source import Source

TEXTS = [
    ("cp1252", "Zeit;Außen °C;Rückluft °C;Größe;Kälte;Wärme\n"),
    ("cp1252", "time,Supply (°F),Room (°F),Hall (°F),Yard (°F),Attic (°F),Porch (°F)\n"),
    ("cp1252", "Horodatage;Entrée;Pièce;Extérieur;Humidité;Température\n"),
    ("cp932", "日時,室温(℃),エアコン電力(W),吹出温度(℃)\n"),
    ("gb18030", "时间,室温(℃),空调功率(W),送风温度(℃)\n"),
    ("cp949", "시간,실내온도(℃),전력(W),실외온도(℃)\n"),
]


@pytest.mark.parametrize(("encoding", "text"), TEXTS)
def test_words_of_a_script_tell_its_encoding(encoding: str, text: str) -> None:
    data = (text * 5).encode(encoding)
    read, guess, faults = decode(Source("log.csv", "", len(data), data, "text"))
    assert (guess.value, read.decode()) == (encoding, text * 5)
    assert not faults
