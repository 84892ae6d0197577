"""What lies in schemas/ is what the code says, and what we write is valid after it in two validators' eyes."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
import xmlschema
from hypothesis import given
from lxml import etree

from chanbridge.formats import named, write
from chanbridge.model import ChannelMap
from tests.schemas import GENERATED, SCHEMAS, text
from tests.strategies import maps

XSD = SCHEMAS / "channel-map.xsd"


@pytest.mark.parametrize("name", GENERATED)
def test_generated_schemas_are_up_to_date(name: str) -> None:
    assert (SCHEMAS / name).read_text("utf-8") == text(name), "run: python -m tests.schemas"


SECOND = xmlschema.XMLSchema10(str(XSD))
FIRST = etree.XMLSchema(etree.parse(str(XSD)))


@given(whole=maps())
def test_xml_is_valid_in_lxml_and_xmlschema(whole: ChannelMap) -> None:
    data = write(whole, named("xml"))
    FIRST.assertValid(etree.fromstring(data))
    SECOND.validate(data.decode("utf-8").split("?>", 1)[1])


@given(whole=maps())
def test_json_is_valid_after_its_schema(whole: ChannelMap) -> None:
    jsonschema.validate(json.loads(write(whole, named("json"))), GENERATED["channel-map.schema.json"]())


def test_the_schema_refuses_what_is_wrong() -> None:
    ns = 'xmlns="urn:chanbridge:channel-map:1"'
    for wrong in (
        f'<channel-map {ns}><channel name="no id"/></channel-map>',
        f'<channel-map {ns}><channel id="a"/><channel id="a"/></channel-map>',
        f'<channel-map {ns}><channel id="a" phantom="perhaps"/></channel-map>',
        f'<channel-map {ns}><entry channel="a" port="p" slot="0"/></channel-map>',
    ):
        assert not FIRST.validate(etree.fromstring(wrong))
        assert not SECOND.is_valid(wrong)


def test_the_example_show_is_valid_after_its_schema(example: Path) -> None:
    data = tomllib.loads((example / "show.toml").read_text("utf-8"))
    data["date"] = str(data["date"])
    jsonschema.validate(data, GENERATED["show.schema.json"]())
