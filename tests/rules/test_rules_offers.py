"""What places offer and whether they admit a van: the tag sets of real places by OSM id, and each rule by itself."""

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.place import OFFERS
from tripplan.model.words import Offer, SiteKind, Source
from tripplan.rules.offers import AUTOGAS, PlaceFact, judge_place
from tripplan.rules.place_text import nights_of_stay, parse_charge_cents, refuses

NO, UNKNOWN, PRESUMED, YES = Offer.NO, Offer.UNKNOWN, Offer.PRESUMED, Offer.YES

# Tags of real places, © OpenStreetMap contributors, ODbL 1.0: Andorra 2025-01-19 and Liechtenstein 2024-03-04, the sites and
# service points whose tags differ; Malta 2018-08-27 for camps that are none. Names, phones and sites are shortened or
# replaced; what decides is as on the map.
REAL: dict[str, tuple[dict[str, str], Offer, dict[str, Offer]]] = {
    # Andorra: sites
    "n4145042306": ({"fee": "no", "maxstay": "24 hours", "name": "Àrea Autocaravanes", "tourism": "caravan_site"}, UNKNOWN, {}),
    "n4438033625": ({"description": "Small Campsite with a Restaurant, Pool and a play ground for kids. Wifi and shower use are for free. Suitable for tend and trailer.",
                     "internet_access": "yes", "name": "Camping A", "phone": "+376 000 000", "tourism": "camp_site"}, PRESUMED, {}),
    "n4810150911": ({"capacity": "5", "charge": "2€/100l water; 2€/1h electricity", "fee": "yes", "internet_access": "wlan", "power_supply": "yes",
                     "sanitary_dump_station": "yes", "tourism": "caravan_site"}, PRESUMED, {"power": YES, "cassette": YES, "grey": UNKNOWN, "fresh": UNKNOWN}),
    "n5818585272": ({"name": "Càmping públic", "opening_hours": "15 Jun-15 Sep", "phone": "+376 000 000", "tourism": "camp_site"}, PRESUMED, {"power": UNKNOWN}),
    "n9205310293": ({"tourism": "caravan_site"}, UNKNOWN, {}),
    "n11168194613": ({"check_date": "2024-09-28", "internet_access": "yes", "source": "survey", "tourism": "caravan_site"}, PRESUMED, {}),
    "w330823764": ({"cabins": "yes", "caravans": "yes", "drinking_water": "yes", "name": "Càmping C", "opening_hours": "Jan-Dez", "phone": "+376 000 000",
                    "power_supply": "yes", "sanitary_dump_station": "yes", "shower": "yes", "stars": "2", "static_caravan": "yes", "tents": "yes",
                    "toilets": "yes", "tourism": "camp_site"}, YES,
                   {"power": YES, "fresh": YES, "cassette": YES, "grey": PRESUMED, "toilets": YES, "showers": YES, "gas": UNKNOWN, "piped": UNKNOWN}),
    "w330823765": ({"name": "Càmping J", "opening_hours": "Jun 15-Sep 15", "phone": "+376 000 000", "tourism": "camp_site"}, PRESUMED, {"cassette": UNKNOWN}),
    "w334466953": ({"name": "Càmping V", "tourism": "camp_site", "website": "https://camp.example/"}, PRESUMED, {"grey": UNKNOWN}),
    "w907473745": ({"email": "info@camp.example", "fee": "yes", "name": "Camping X", "operator": "Apartments", "phone": "+376 000 000",
                    "tourism": "camp_site"}, PRESUMED, {"power": UNKNOWN, "grey": UNKNOWN}),
    "w1323926962": ({"tourism": "camp_site"}, UNKNOWN, {}),
    # Andorra: service points
    "n4809492161": ({"amenity": "sanitary_dump_station"}, PRESUMED, {"cassette": YES, "grey": UNKNOWN, "fresh": UNKNOWN}),
    "n8305475858": ({"access": "yes", "amenity": "sanitary_dump_station", "fee": "no", "name": "Service de vidange eaux noire",
                     "sanitary_dump_station:basin": "yes", "water_point": "yes"}, YES, {"cassette": YES, "grey": UNKNOWN, "fresh": YES}),
    "n9701153597": ({"access": "customers", "amenity": "sanitary_dump_station", "sanitary_dump_station:chemical_toilet": "yes"}, YES,
                    {"cassette": YES, "grey": UNKNOWN}),
    "n9701153599": ({"access": "customers", "amenity": "sanitary_dump_station", "sanitary_dump_station:grey_water": "yes"}, YES,
                    {"cassette": UNKNOWN, "grey": YES}),
    "n8305475859": ({"access": "yes", "amenity": "water_point", "drinking_water": "yes", "fee": "no"}, YES, {"fresh": YES}),
    "n9208013035": ({"amenity": "drinking_water", "drinking_water:legal": "no", "name": "Font"}, PRESUMED, {"fresh": NO}),
    "n4780988121": ({"amenity": "drinking_water", "man_made": "water_tap"}, PRESUMED, {"fresh": YES}),
    # Liechtenstein
    "n4235626189": ({"caravans": "no", "club": "scout", "drinking_water": "yes", "group_only": "yes", "name": "Lagerplatz", "scout": "yes", "tents": "yes",
                     "tourism": "camp_site"}, NO, {"fresh": YES}),
    "n4355333397": ({"caravans": "no", "club": "scout", "group_only": "yes", "name": "Lagerplatz", "scout": "yes", "tourism": "camp_site"}, NO, {}),
    "n9042015036": ({"capacity": "12", "caravans": "no", "charge": "15.00 CHF / day", "fee": "yes", "maxstay": "7 days", "name": "Stellplatz",
                     "power_supply": "yes", "reservation": "yes", "sanitary_dump_station": "customers", "tents": "no", "toilets": "no",
                     "tourism": "caravan_site", "water_point": "yes"}, NO, {"power": YES, "fresh": YES, "cassette": YES, "toilets": NO}),
    "n8850402432": ({"amenity": "sanitary_dump_station", "description": "Frischwasser und WC-Kassette leeren kostenlos, kein Grauwasser", "name": "Stadion"},
                    PRESUMED, {"cassette": YES, "grey": NO, "fresh": PRESUMED}),
    "n10106651500": ({"access": "customers", "amenity": "sanitary_dump_station", "fee": "no", "sanitary_dump_station:round_drain": "yes"}, YES,
                     {"cassette": YES, "grey": UNKNOWN}),
    "w173914142": ({"name": "Camping M", "opening_hours": "24/7", "phone": "+423 000 00 00", "tourism": "camp_site", "website": "https://camp.example/"},
                   PRESUMED, {"power": UNKNOWN, "cassette": UNKNOWN, "fresh": UNKNOWN}),
    # Malta
    "w118548107": ({"name": "Refugee camp", "refugee": "yes", "tourism": "camp_site"}, NO, {}),
    "n5854458085": ({"name": "wild camping", "name:fr": "camping sauvage", "tourism": "camp_site"}, NO, {}),
    "n2803009512": ({"amenity": "scout_hut", "group_only": "yes", "name": "Scout Group", "scout": "yes", "tourism": "camp_site"}, NO, {}),
    "n1462464945": ({"name": "Scout Group Headquarters", "tourism": "camp_site"}, NO, {}),
    "w422074733": ({"tourism": "caravan_site"}, UNKNOWN, {}),
    "n1266975893": ({"shop": "gas"}, PRESUMED, {"gas": YES}),
    "n129949801": ({"amenity": "fuel", "fuel:lpg": "yes", "fuel:octane_95": "yes"}, PRESUMED, {"gas": NO}),
}  # fmt: skip


@pytest.mark.parametrize("ref", sorted(REAL))
def test_real_places(ref: str) -> None:
    """Each real place gets the answers that its tags bear, and no more."""
    tags, admits, offers = REAL[ref]
    fact = judge_place(tags, ref)
    assert fact is not None
    assert fact.ref == ref
    assert fact.admits == admits, fact.admits_why
    assert fact.role == ("site" if "tourism" in tags else "service")
    for word, answer in offers.items():
        found = fact.offers.get(word)
        assert (found.answer if found else UNKNOWN) == answer, word


def test_the_two_maps_say_what_is_known_of_them() -> None:
    """Of Andorra's sites one says that it takes caravans, of its dump stations one takes grey; Liechtenstein's 3 refusals hold."""
    facts = {ref: judge_place(tags, ref) for ref, (tags, _, _) in REAL.items()}
    yes = [ref for ref, fact in facts.items() if fact and fact.role == "site" and fact.admits == YES]
    assert yes == ["w330823764"]
    grey = [
        ref
        for ref, fact in facts.items()
        if fact and fact.role == "service" and "grey" in fact.offers and fact.offers["grey"].answer == YES
    ]
    assert grey == ["n9701153599"]
    assert facts["n9701153599"].only_guests  # type: ignore[union-attr]


def site(tourism: str = "camp_site", **tags: str) -> PlaceFact:
    fact = judge_place({"tourism": tourism, **{key.replace("__", ":"): value for key, value in tags.items()}}, "n1")
    assert fact is not None
    return fact


def answers(**tags: str) -> dict[str, Offer]:
    fact = judge_place({key.replace("__", ":"): value for key, value in tags.items()}, "n1")
    return {word: offer.answer for word, offer in fact.offers.items()} if fact else {}


@pytest.mark.parametrize(
    "tags",
    [
        {"caravans": "no"}, {"caravan": "no"}, {"trailer": "no"}, {"capacity:caravans": "0"}, {"access": "private"}, {"access": "no"},
        {"access": "members"}, {"scout": "yes"}, {"club": "scout"}, {"group_only": "yes"}, {"static_caravans": "only"}, {"backcountry": "yes"},
        {"refugee": "yes"}, {"social_facility": "shelter"}, {"tents": "only"}, {"motorhome": "only"}, {"impromptu": "yes"}, {"disused": "yes"},
        {"amenity": "refugee_site"}, {"opening_hours": "off"}, {"description": "Sorry, no caravans!"}, {"description:de": "Keine Wohnwagen"},
        {"camp_site": "wildcamp"}, {"maxstay": "4 hours"}, {"name": "Boy Scouts camp"},
    ],
)  # fmt: skip
def test_not_admitted(tags: dict[str, str]) -> None:
    """Each reason not to go there holds even at a site with name and phone, and names itself."""
    base = {"tourism": "camp_site", "name": "Green Bay", "phone": "1"}
    assert judge_place(base, "n1").admits == PRESUMED  # type: ignore[union-attr]
    fact = judge_place({**base, **tags}, "n1")
    assert fact is not None
    assert fact.admits == NO
    assert fact.admits_why


def test_a_refusal_beats_a_welcome_and_a_closing_tag_beats_both() -> None:
    """caravans=yes is overruled by words that refuse, by access=private and by group_only."""
    assert site(caravans="yes").admits == YES
    assert site(caravans="yes", description="no caravans over 7 m").admits == NO
    assert site(caravans="yes", access="private").admits == NO
    assert site(caravans="yes", group_only="yes").admits == NO
    assert site(caravans="yes", group_only="no", access="customers").admits == YES
    assert site(capacity__caravans="12").admits == YES
    assert site(capacity__caravans="12").capacity == 12


def test_presumed_and_unknown_admission() -> None:
    """Only tents named, motorhomes meant, a name without a contact: unknown. Motorhomes beside tents, a caravan site that is one: presumed."""
    assert site(name="A", phone="1", tents="yes").admits == UNKNOWN
    assert site(name="A", phone="1", tents="yes", motorhome="yes").admits == PRESUMED
    assert site(name="A").admits == UNKNOWN
    assert site(phone="1").admits == UNKNOWN
    assert site("caravan_site", name="A").admits == PRESUMED
    assert site("caravan_site", name="A", motorhome="designated").admits == UNKNOWN
    assert site("caravan_site", name="Wohnmobilstellplatz").admits == UNKNOWN
    assert site("caravan_site", name="Wohnmobilstellplatz", caravans="yes").admits == YES


def test_kinds() -> None:
    """Kinds of site; rest areas and resorts only where caravans are welcome; parking for motorhomes is none."""
    assert site().kind == SiteKind.CAMP_SITE
    assert site("caravan_site").kind == SiteKind.CARAVAN_SITE
    assert site(name="North Farm").kind == SiteKind.FARM
    assert site(name="Bay Holiday Park").kind == SiteKind.HOLIDAY_PARK
    rest = judge_place({"highway": "rest_area", "caravans": "yes"}, "w1")
    assert rest is not None
    assert (rest.role, rest.kind, rest.admits) == ("site", SiteKind.REST_AREA, YES)
    for tags in (
        {"highway": "rest_area"}, {"highway": "services", "toilets": "yes"}, {"amenity": "parking", "motorhome": "designated", "name": "P"},
        {"leisure": "resort", "name": "Spa"}, {"tourism": "camp_pitch"}, {"shop": "caravan"}, {"tourism": "wilderness_hut", "name": "Hut"},
        {"amenity": "parking", "caravans": "yes"}, {"amenity": "parking", "motorhome": "designated", "sanitary_dump_station": "no"}, {},
        {"tourism": "camping_site", "name": "typo"}, {"amenity": "fuel", "fuel:lpg": "no"}, {"man_made": "water_tap"}, {"tourism": "viewpoint"},
    ):  # fmt: skip
        assert judge_place(tags, "n1") is None


def test_presumed_offers_of_a_staffed_site() -> None:
    """Showers and somebody there: grey, cassette, fresh and toilets presumed, marked as such; each missing half: nothing."""
    fact = site(name="A", phone="1", shower="yes")
    for word in ("grey", "cassette", "fresh", "toilets"):
        assert (fact.offers[word].answer, fact.offers[word].source) == (PRESUMED, Source.PRESUMED)
        assert "common practice" in fact.offers[word].evidence
    assert fact.offers["showers"].source == Source.TAGGED
    for tags in ({"shower": "yes"}, {"phone": "1"}, {"phone": "1", "shower": "no"}, {"website": "x", "shower": "yes"}):
        assert "grey" not in site(name="A", **tags).offers
    both = site(name="A", website="x", operator="y", shower="hot")
    assert both.offers["grey"].answer == PRESUMED
    no_dump = site(name="A", phone="1", shower="yes", sanitary_dump_station="no")
    assert no_dump.offers["cassette"].answer == NO
    assert "grey" not in no_dump.offers
    assert site(name="A", phone="1", shower="yes", drinking_water="no").offers["fresh"].answer == NO
    assert site(name="A", phone="1", stars="3").offers["power"].answer == PRESUMED
    assert site(name="A", phone="1", stars="3", power_supply="no").offers["power"].answer == NO
    assert "power" not in site(name="A", phone="1", shower="yes").offers


# Socket names as values of power_supply: id-tagging-schema and public code (published source).
@pytest.mark.parametrize(("value", "answer"), [("yes", YES), ("cee_17_blue", YES), ("cee_blue;schuko", YES), ("no", NO)])
def test_power(value: str, answer: Offer) -> None:
    """A socket's name is a yes."""
    assert site(power_supply=value).offers["power"].answer == answer


def test_dump_stations() -> None:
    """Sub-keys decide; without them a dump takes a cassette by definition and nothing is known of grey."""
    dump = "sanitary_dump_station"
    assert answers(amenity=dump) == {"cassette": YES, "grey": UNKNOWN}
    assert answers(amenity=dump, sanitary_dump_station__chemical_toilet="no")["cassette"] == NO
    assert answers(amenity=dump, sanitary_dump_station__suction="yes")["cassette"] == UNKNOWN
    assert answers(amenity=dump, sanitary_dump_station__grey_water="no")["grey"] == NO
    assert answers(amenity=dump, sanitary_dump_station__grey_water="yes", sanitary_dump_station__basin="yes") == {
        "cassette": YES,
        "grey": YES,
    }
    assert answers(amenity="parking", sanitary_dump_station="yes") == {"cassette": YES, "grey": UNKNOWN}
    assert answers(amenity=dump, water_point="yes")["fresh"] == YES
    assert answers(amenity=dump, drinking_water="no")["fresh"] == NO
    assert answers(amenity=dump, description="No grey water please", sanitary_dump_station__grey_water="yes")["grey"] == NO


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("kein Grauwasser", "grey"), ("no grey water", "grey"), ("Grey water not accepted", "grey"), ("pas d'eaux grises", "grey"),
        ("eaux grises interdites", "grey"), ("sin aguas grises", "grey"), ("Grauwasser: nein", "grey"), ("keine WC-Kassette", "cassette"),
        ("no chemical toilets", "cassette"), ("kein Trinkwasser", "fresh"), ("no drinking water", "fresh"), ("no electricity", "power"),
        ("no caravans", "caravans"), ("caravans are not allowed", "caravans"), ("pas de caravanes", "caravans"),
    ],
)  # fmt: skip
def test_refusals(text: str, word: str) -> None:
    """Plain words in several languages that take an offer back."""
    assert refuses(text, word)


@pytest.mark.parametrize(
    ("text", "word"),
    [("Grauwasser und Kassette", "grey"), ("grey water welcome", "grey"), ("no dogs, grey water and cassette", "cassette"), ("", "grey"),
     ("Caravans and motorhomes", "caravans"), ("Nothing about it", "fresh"), ("not far from the caravans", "power")],
)  # fmt: skip
def test_no_refusal(text: str, word: str) -> None:
    """Words that do not."""
    assert not refuses(text, word)


def test_words_never_make_a_yes() -> None:
    """A description that praises gives at most a presumed fresh water."""
    found = answers(
        amenity="sanitary_dump_station", description="Grey water, cassette, drinking water, electricity, gas bottles: all here"
    )
    assert found == {"cassette": YES, "grey": UNKNOWN, "fresh": PRESUMED}


def test_water() -> None:
    """Taps that fill a barrel, and those that don't."""
    assert answers(amenity="drinking_water") == {"fresh": YES}
    assert answers(amenity="water_point") == {"fresh": YES}
    assert answers(man_made="water_tap", drinking_water="yes") == {"fresh": YES}
    assert answers(waterway="water_point") == {"fresh": PRESUMED}
    for tags in (
        {"amenity": "water_point", "drinking_water": "no"}, {"amenity": "drinking_water", "fountain": "bubbler"},
        {"man_made": "water_tap", "drinking_water": "no"}, {"amenity": "drinking_water", "man_made": "water_well", "pump__status": "broken"},
        {"amenity": "drinking_water", "description": "Vermutlich kein Trinkwasser."},
    ):  # fmt: skip
        assert answers(**tags) == {"fresh": NO}


def test_autogas_is_no_bottle() -> None:
    """A pump for autogas never serves a bottle and says why (national gas safety bodies; WA Energy Safety, published source)."""
    fact = judge_place({"amenity": "fuel", "fuel:lpg": "yes"}, "n1")
    assert fact is not None
    assert (fact.offers["gas"].answer, fact.offers["gas"].evidence) == (NO, AUTOGAS)
    assert answers(amenity="fuel", fuel__lpg="yes", fuel__propane="yes") == {"gas": PRESUMED}
    assert answers(amenity="fuel", fuel__lpg="yes", bottled_gas="yes") == {"gas": YES}
    assert answers(shop="hardware;gas") == {"gas": YES}
    assert answers(amenity="vending_machine", vending="gas_bottles") == {"gas": YES}
    for tags in (
        {"shop": "gas_station"},
        {"amenity": "fuel", "fuel__propane": "no"},
        {"amenity": "vending_machine", "vending": "parking_tickets"},
    ):
        assert answers(**tags) == {}


def test_who_may_use_a_service() -> None:
    """Customers of a dump are its site's guests, those of a shop are not; private is closed."""
    assert judge_place({"amenity": "sanitary_dump_station", "access": "customers"}, "n1").only_guests  # type: ignore[union-attr]
    assert not judge_place({"shop": "gas", "access": "customers"}, "n1").only_guests  # type: ignore[union-attr]
    private = judge_place({"amenity": "sanitary_dump_station", "access": "private"}, "n1")
    assert private is not None
    assert private.admits == NO
    assert site(sanitary_dump_station="yes").only_guests


@pytest.mark.parametrize(
    ("text", "nights"),
    [("24 hours", 1), ("24h", 1), ("48 h", 2), ("7 days", 7), ("7", 7), ("1 night", 1), ("2 weeks", 14), ("PT24H", 1), ("P3D", 3), ("18 hours", 1),
     ("1 month", 30), ("4 hours", None), ("90 minutes", None), ("", 0), ("no", 0), ("unlimited", 0), ("a while", 0), ("0", 0)],
)  # fmt: skip
def test_longest_stay(text: str, nights: int | None) -> None:
    """Hours and days to nights; None when the stay allowed holds no night."""
    assert nights_of_stay(text) == nights


@pytest.mark.parametrize(
    ("text", "cents"),
    [("15.00 CHF / day", 1500), ("12 EUR", 1200), ("€12.50 per night", 1250), ("NZ$20", 2000), ("10-15 EUR/night", 1500), ("5 €", 500),
     ("CHF 30/pitch", 3000), ("8,50 EUR / 24 h", 850), ("2€/100l water; 2€/1h electricity", -1), ("3 EUR / person", -1), ("2 EUR/hour", -1),
     ("12", -1), ("free", -1), ("", -1), ("ask", -1)],
)  # fmt: skip
def test_charges(text: str, cents: int) -> None:
    """A pitch for a night in hundredths of its currency; what is charged by person, litre or hour is not known."""
    assert parse_charge_cents(text) == cents


def test_small_facts() -> None:
    """Price, fee, pets, hours, season, longest stay, phone, website and note."""
    fact = site(charge="15.00 CHF / day", maxstay="7 days", dog="leashed", opening_hours="May-Oct", seasonal="summer", contact__phone="1", url="u",
                description="nice", reservation="required")  # fmt: skip
    assert (fact.price_cents, fact.longest_stay_nights, fact.pets, fact.fee) == (1500, 7, YES, YES)
    assert (fact.hours, fact.season, fact.phone, fact.website) == ("May-Oct", "summer", "1", "u")
    assert "nice" in fact.note
    assert "reservation: required" in fact.note
    assert site(fee="no").price_cents == 0
    assert site(fee="yes").price_cents == -1
    assert site(dog="no").pets == NO


def test_sights() -> None:
    """Named attractions are sights; nameless and private ones are not; a site beats a sight."""
    fact = judge_place({"tourism": "viewpoint", "name": "Head"}, "n1")
    assert fact is not None
    assert (fact.role, fact.name) == ("sight", "Head")
    assert judge_place({"natural": "peak", "name": "Horn"}, "n1") is not None
    assert judge_place({"tourism": "museum", "name": "M", "access": "private"}, "n1") is None
    assert judge_place({"natural": "tree", "name": "Oak"}, "n1") is None
    assert site(historic="castle", name="Castle Camp").role == "site"


KEYS = ["tourism", "amenity", "caravans", "name", "phone", "shower", "maxstay", "charge", "description", "sanitary_dump_station", "access",
        "capacity", "stars", "fuel:lpg", "shop", "sanitary_dump_station:grey_water", "drinking_water", "opening_hours", "fee"]  # fmt: skip


@given(
    st.dictionaries(
        st.sampled_from(KEYS),
        st.one_of(
            st.text(max_size=60),
            st.sampled_from(["yes", "no", "camp_site", "caravan_site", "sanitary_dump_station", "gas", "drinking_water"]),
        ),
    )
)
def test_any_text_gets_an_answer(tags: dict[str, str]) -> None:
    """No text raises; every offer is one of the words, has evidence where it says anything, and a yes rests on a tag."""
    fact = judge_place(tags, "n1")
    if fact is None:
        return
    assert set(fact.offers) <= set(OFFERS)
    assert fact.longest_stay_nights >= 0
    assert fact.price_cents >= -1
    for offer in fact.offers.values():
        assert offer.evidence
        assert offer.answer != YES or offer.source == Source.TAGGED
        assert offer.answer != PRESUMED or offer.source == Source.PRESUMED


@pytest.mark.extract
@pytest.mark.skipif(not os.environ.get("TRIPPLAN_EXTRACTS"), reason="TRIPPLAN_EXTRACTS is not set: no real extracts here")
@pytest.mark.parametrize(
    ("name", "sites", "admitted", "presumed", "refused", "dumps", "grey"),
    [("andorra-20250119", 12, 1, 8, 0, 7, 1), ("liechtenstein-20240304", 4, 0, 1, 3, 2, 0)],
)
def test_whole_maps(name: str, sites: int, admitted: int, presumed: int, refused: int, dumps: int, grey: int) -> None:
    """Counts over two real maps: sites by whether they admit a van, dump stations, and those that say they take grey."""
    from tripplan.region.build import build

    places = build(Path(os.environ["TRIPPLAN_EXTRACTS"]) / f"{name}.osm.pbf").places
    found = [place.admits for place in places if place.role == "site"]
    assert (len(found), found.count(YES), found.count(PRESUMED), found.count(NO)) == (sites, admitted, presumed, refused)
    stations = [place for place in places if place.role == "service" and "cassette" in place.offers]
    assert len(stations) == dumps
    assert sum(place.offer("grey").answer == YES for place in stations) == grey
