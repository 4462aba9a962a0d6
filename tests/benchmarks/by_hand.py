"""Statements by hand for all that a page shows, its frame included: the floors of `measure_pages`.

They are the best that we can write: they begin with what is rare, ask for the columns that are shown and for no others, and look
up what fifty rows need once these are known. In the frame of a page are the session, who it is with which roles, the sites that
they see, and the counts of the menu: notices, and cases without a signature that stands. `{sites}` are the sites that somebody
sees, or the open ones of the area that the page is about.
"""

import time
from collections import Counter

from django.db import connection
from django.utils import timezone

from compliance.plans.calendar import DAY
from sites.access import keys_of_areas
from sites.models import Area, Person
from tests.benchmarks.engines import server_seconds

# Materialized by PostgreSQL, which plans each step by itself; SQLite looks them up one by one.
KEPT = {"postgresql": "MATERIALIZED", "sqlite": ""}
SHIFTED = {"postgresql": "{0} {1} interval '8 days'", "sqlite": "datetime({0}, '{1}8 days')"}
SESSION = "SELECT session_data FROM django_session WHERE session_key = '{session}' AND expire_date > '{now}'"
WHO = """SELECT p.password, p.email, p.name, p.initials, p.is_active, p.revocations, m.site_id, m.area_id, m.role
 FROM sites_person p LEFT JOIN sites_membership m ON m.person_id = p.id WHERE p.id = {person}"""
# A decision that was shaken counts as none, where the page works out what can be said of it now.
_SINCE = "({0}.recorded_at >= t.since OR EXISTS (SELECT 1 FROM {1} v WHERE v.voids_id = {0}.id AND v.recorded_at >= t.since))"
_NEAR = "{0} >= {earlier} AND {0} <= {later}"
DOUBTED = """WITH doubted AS {kept} (SELECT id, anchor, probe_id, starts_at, ends_at, behind_id, ahead_id, doubt_id
 FROM checks_span WHERE NOT (anchor = ''))"""
READ = """SELECT s.anchor, min(r.site_id), max(r.site_id), count(*), NULL FROM checks_span s
 JOIN readings_reading r ON r.probe_id = s.probe_id AND r.taken_at > s.starts_at AND r.taken_at <= s.ends_at
 WHERE NOT (s.anchor = '') GROUP BY s.anchor, s.id UNION ALL SELECT s.anchor, r.site_id, r.site_id, -count(*), max(x.recorded_at)
 FROM readings_readingvoid x CROSS JOIN readings_reading r CROSS JOIN checks_span s WHERE r.id = x.voids_id
 AND s.probe_id = r.probe_id AND r.taken_at > s.starts_at AND r.taken_at <= s.ends_at AND NOT (s.anchor = '')
 GROUP BY s.anchor, r.site_id"""
DECIDED = (
    DOUBTED
    + """, made AS {kept} (
 SELECT s.id, s.anchor, s.probe_id, s.behind_id, s.ahead_id, count(*) AS n, max(d.recorded_at) AS last,
 min(CASE WHEN d.fate <> 'discarded' THEN d.recorded_at END) AS since, min(d.sensor) AS sensor, max(d.sensor) AS other,
 max(CASE WHEN d.fate <> 'discarded' AND (d.sensor IS NULL OR coalesce(d.behind_id, 0) <> coalesce(s.behind_id, 0)
  OR coalesce(d.ahead_id, 0) <> coalesce(s.ahead_id, 0) OR coalesce(d.doubt_id, 0) <> coalesce(s.doubt_id, 0)
  OR d.fate = 'measured_again' AND NOT EXISTS (
   SELECT 1 FROM readings_reading g JOIN checks_span p ON p.probe_id = g.probe_id AND g.taken_at > p.starts_at
   AND g.taken_at <= p.ends_at AND p.standing IN ('proven', 'pending') JOIN limits_limitversion b ON b.id = g.limit_version_id
   JOIN limits_limitversion a ON a.id = r.limit_version_id AND a.limit_id = b.limit_id WHERE g.id = d.good_reading_id
   AND g.site_id = r.site_id AND g.taken_at > r.taken_at
   AND NOT EXISTS (SELECT 1 FROM readings_readingvoid x WHERE x.voids_id = g.id))) THEN 1 ELSE 0 END) AS shaken
 FROM doubted s JOIN quarantine_decision d ON d.probe_id = s.probe_id JOIN readings_reading r ON r.id = d.reading_id
 AND r.taken_at > s.starts_at AND r.taken_at <= s.ends_at
 WHERE NOT EXISTS (SELECT 1 FROM quarantine_decision n WHERE n.replaces_id = d.id)
 AND NOT EXISTS (SELECT 1 FROM readings_readingvoid x WHERE x.voids_id = d.reading_id)
 GROUP BY s.id, s.anchor, s.probe_id, s.behind_id, s.ahead_id)
SELECT t.anchor, t.n, t.last, (SELECT max(g.recorded_at) FROM quarantine_signature g WHERE g."case" = t.anchor),
 t.shaken = 1
 OR EXISTS (SELECT 1 FROM probes_probe p WHERE p.id = t.probe_id AND (p.sensor <> t.sensor OR p.sensor <> t.other))
 OR EXISTS (SELECT 1 FROM probes_probeparticulars f WHERE f.probe_id = t.probe_id AND f.corrects AND f.recorded_at >= t.since)
 OR EXISTS (SELECT 1 FROM checks_check z JOIN checks_check c ON c.probe_id = t.probe_id AND {near_check}
  WHERE z.id IN (t.behind_id, t.ahead_id) AND c.kind = 'boiling' AND c.verdict = 'in_tolerance' AND {check_since})
 OR EXISTS (SELECT 1 FROM checks_check z JOIN probes_event e ON e.probe_id = t.probe_id AND {near_event}
  WHERE z.id IN (t.behind_id, t.ahead_id) AND e.kind IN ('adjusted', 'repaired', 'gone') AND {event_since}) FROM made t"""
)
COUNTS = """SELECT (SELECT count(*) FROM notices_notice WHERE person_id = {person} AND in_page AND read_at IS NULL),
 EXISTS (SELECT 1 FROM checks_check c JOIN sites_site s ON s.id = c.site_id WHERE s.area_id = {newest}
 AND NOT EXISTS (SELECT 1 FROM checks_checkvoid v WHERE v.voids_id = c.id))"""
FRAME = (SESSION, WHO, COUNTS, READ, DECIDED)
LIMITS = """SELECT v.id, v.direction, v.value, v.unit, v.hold_s, v.within_s, l.title FROM limits_limitversion v
 JOIN limits_limit l ON l.id = v.limit_id WHERE v.id IN ({found})"""
SETTLED = """(SELECT a.id FROM readings_correctiveaction a WHERE a.deviation_id = {0} AND a.disposition <> 'held'
 AND NOT EXISTS (SELECT 1 FROM readings_correctiveaction n WHERE n.replaces_id = a.id) LIMIT 1)"""
READINGS = (
    """SELECT r.limit_version_id, r.id, r.item, r.taken_at, r.recorded_at, r.source_id, r.value_milli, r.hold_s, r.fitness,
 r.used_despite, s.name, s.unit, s.time_zone, s.former, p.code, p.former, (SELECT a.name FROM appliances_appliance a
 WHERE a.id = r.appliance_id), (SELECT standing FROM checks_span c WHERE c.probe_id = r.probe_id AND c.ends_at >= r.taken_at
 ORDER BY c.ends_at LIMIT 1), (SELECT d.id FROM readings_deviation d WHERE d.reading_id = r.id),
 """
    + SETTLED.format("(SELECT d.id FROM readings_deviation d WHERE d.reading_id = r.id)")
    + """,
 (SELECT v.id FROM readings_readingvoid v WHERE v.voids_id = r.id) FROM readings_reading r
 JOIN sites_site s ON s.id = r.site_id JOIN probes_probe p ON p.id = r.probe_id WHERE r.site_id + 0 IN ({sites})
 ORDER BY r.taken_at DESC, r.id DESC LIMIT 51"""
)
WAITING = """SELECT {0} FROM readings_deviation d JOIN readings_reading r ON r.id = d.reading_id WHERE r.site_id IN ({{sites}})
 AND NOT EXISTS (SELECT 1 FROM readings_correctiveaction a WHERE a.deviation_id = d.id AND a.disposition <> 'held'
 AND NOT EXISTS (SELECT 1 FROM readings_correctiveaction n WHERE n.replaces_id = a.id))
 AND NOT EXISTS (SELECT 1 FROM readings_readingvoid v WHERE v.voids_id = r.id)"""
DEVIATIONS = """SELECT d.id, d.why, r.item, r.taken_at, s.name, s.time_zone, s.former, p.name, p.initials
 FROM readings_deviation d JOIN readings_reading r ON r.id = d.reading_id JOIN sites_site s ON s.id = r.site_id
 JOIN sites_person p ON p.id = r.taken_by_id WHERE d.id IN ({found})"""
PROBES = """SELECT p.id, p.code, p.description, p.sensor, p.withdrawn, s.name, s.time_zone, s.former, t.standing, t.last_good_at,
 t.due_at, t.grace_at, t.last_check_id, t.point, t.at_once_because, (SELECT max(e.at) FROM probes_event e WHERE e.probe_id = p.id
 AND NOT EXISTS (SELECT 1 FROM probes_eventvoid v WHERE v.voids_id = e.id)), (SELECT max(q.starts_at) FROM probes_placement q
 WHERE q.probe_id = p.id), (SELECT min(d.outside_since) FROM checks_checkdraft d WHERE d.probe_id = p.id), c.checked_at
 FROM probes_probe p JOIN sites_site s ON s.id = p.site_id LEFT JOIN checks_probestate t ON t.probe_id = p.id
 LEFT JOIN checks_check c ON c.id = t.last_check_id WHERE p.id IN ({found})"""
LINES = """SELECT s.anchor, min(s.starts_at), max(s.ends_at), min(p.code), min(i.name), min(i.time_zone) FROM checks_span s
 JOIN probes_probe p ON p.id = s.probe_id JOIN sites_site i ON i.id = p.site_id WHERE NOT (s.anchor = '')
 GROUP BY s.anchor ORDER BY s.anchor DESC LIMIT 51"""
SIGNED = """SELECT "case", starts_at, ends_at, recorded_at FROM quarantine_signature WHERE probe_id IN (
 SELECT probe_id FROM checks_span WHERE NOT (anchor = ''))"""
# Of PostgreSQL, which puts them side by side as a whole; SQLite looks them up one by one.
LATELY = {"postgresql": "AND {0}.site_id IN ({{sites}}) AND {0}.{1} > '{{early}}'", "sqlite": ""}
MISSED = """FROM plans_reminder m WHERE m.site_id IN ({sites}) AND m.due_at >= '{since}' AND m.closes_at <= '{now}'
 AND m.cancelled_at IS NULL AND NOT EXISTS (SELECT 1 FROM reminders_excuse e WHERE e.reminder_id = m.id)
 AND NOT EXISTS (SELECT 1 FROM checks_check c WHERE c.probe_id = m.probe_id AND c.checked_at > m.opens_at
  AND c.checked_at <= m.closes_at AND c.verdict <> 'inconclusive' {c_lately}
  AND NOT EXISTS (SELECT 1 FROM checks_checkvoid v WHERE v.voids_id = c.id))
 AND NOT EXISTS (SELECT 1 FROM readings_reading r JOIN limits_limitversion l ON l.id = r.limit_version_id
  WHERE r.site_id = m.site_id AND l.limit_id = m.limit_id AND r.taken_at > m.opens_at AND r.taken_at <= m.closes_at
  AND (m.appliance_id IS NULL OR m.appliance_id = r.appliance_id) {r_lately}
  AND NOT EXISTS (SELECT 1 FROM readings_readingvoid v WHERE v.voids_id = r.id))"""
SITES = "SELECT id, name, time_zone, former FROM sites_site WHERE id IN ({sites}) ORDER BY name"
OVERDUE = """SELECT p.site_id, count(*) FROM probes_probe p LEFT JOIN checks_probestate t ON t.probe_id = p.id
 WHERE p.site_id IN ({sites}) AND (NOT p.withdrawn OR t.due_at IS NOT NULL) AND (t.probe_id IS NULL OR t.grace_at <= '{now}')
 AND NOT EXISTS (SELECT 1 FROM plans_reminder m JOIN reminders_excuse e ON e.reminder_id = m.id WHERE m.probe_id = p.id
  AND m.due_at >= t.due_at) GROUP BY p.site_id"""
FAILED = """SELECT p.site_id, count(*), count(CASE WHEN t.standing = 'quarantined' THEN 1 END) FROM probes_probe p
 LEFT JOIN checks_probestate t ON t.probe_id = p.id WHERE p.site_id IN ({sites}) AND NOT p.withdrawn GROUP BY p.site_id"""
# What the sheet of days needs: reviews, hours and closures; which of the days have records is asked of one day a site.
REVIEWS = "SELECT site_id, first_day, last_day, meaning FROM reviews_review WHERE site_id IN ({sites}) AND last_day >= '{since}'"
HOURS = "SELECT site_id, effective_from, hours, recorded_at FROM plans_opening WHERE site_id IN ({sites})"
CLOSED = """SELECT c.site_id, c.area_id, c.first_day, c.last_day, c.why, v.recorded_at FROM plans_closure c
 LEFT JOIN plans_closurevoid v ON v.voids_id = c.id WHERE c.site_id IN ({sites}) OR c.area_id = {area}"""
RECORDED = """SELECT s.id FROM sites_site s WHERE s.id IN ({sites}) AND EXISTS (SELECT 1 FROM readings_reading r
 WHERE r.site_id = s.id AND r.taken_at >= '{day}' AND r.taken_at < '{next_day}')"""
COUNTED = (WAITING.format("r.site_id, count(*)") + " GROUP BY r.site_id", OVERDUE, FAILED)
STANDING = """SELECT r.id, r.item, r.value_milli, r.taken_at, p.code, s.name,
 (SELECT standing FROM checks_span c WHERE c.probe_id = r.probe_id AND c.ends_at >= r.taken_at ORDER BY c.ends_at LIMIT 1)
 FROM readings_reading r JOIN probes_probe p ON p.id = r.probe_id JOIN sites_site s ON s.id = r.site_id"""
# By the name of the address; each after the frame. `{found}` are the first 50 numbers that the statement before it gave.
PAGES = {
    "reading_list": (READINGS, LIMITS),
    "deviation_list": (WAITING.format("d.id") + " ORDER BY r.taken_at DESC, d.id DESC LIMIT 51", DEVIATIONS),
    "probe_list": (
        "SELECT id FROM probes_probe WHERE site_id IN ({sites}) AND NOT withdrawn ORDER BY code LIMIT 51",
        PROBES,
    ),
    "case_list": (LINES, SIGNED),
    "area_list": ("SELECT id, name FROM sites_area WHERE id IN ({areas})", *COUNTED),
    "area_detail": (
        *(SITES, *COUNTED, REVIEWS, HOURS, CLOSED, RECORDED, SIGNED),
        f"SELECT m.site_id, count(m.probe_id), count(m.limit_id) {MISSED} GROUP BY m.site_id",
    ),
    "area_missed": (SITES, f"SELECT m.*, count(*) OVER () {MISSED} ORDER BY m.due_at DESC, m.id DESC LIMIT 51"),
    "site_list": (
        "SELECT s.id, s.name, a.name FROM sites_site s JOIN sites_area a ON a.id = s.area_id WHERE s.id IN ({sites})"
        " ORDER BY a.name, s.name LIMIT 51",
    ),
    "people": (
        "SELECT DISTINCT p.id, p.name FROM sites_person p JOIN sites_membership m ON m.person_id = p.id"
        " WHERE m.site_id IN ({sites}) ORDER BY p.name LIMIT 51",
    ),
    "reading_export": (STANDING + " WHERE r.site_id IN ({sites}) ORDER BY r.taken_at",),
}
SEEN = """SELECT id FROM sites_site WHERE id IN (SELECT site_id FROM sites_membership WHERE person_id = {person})
 UNION SELECT s.id FROM sites_site s JOIN sites_membership m ON m.area_id = s.area_id WHERE m.person_id = {person}"""
OF_AREA = "SELECT id FROM sites_site WHERE area_id = {area} AND NOT closed"
OF_ONE_AREA = ("area_detail", "area_missed")


class ByHand:
    """What the statements take for one person, whose session this is."""

    def __init__(self, person: Person, area: Area, session: str):
        self.cases = 0  # without a signature that stands, as the statements by hand have them
        now, areas = timezone.now().replace(tzinfo=None), keys_of_areas(person)
        self._given = {
            **_of_the_database(),
            **{"person": person.pk, "session": session, "area": area.pk, "newest": max(areas, default=0)},
            **{"now": now, "since": now - 28 * DAY, "early": now - 42 * DAY},
            **{"day": (now - 10 * DAY).date(), "next_day": (now - 9 * DAY).date()},
            "areas": ", ".join(map(str, areas)) or "NULL",
        }

    def milliseconds(self, name: str) -> float:
        """Of the processor, the second time that all of them are asked."""
        return [self._ask_all(name) for _ in range(2)][-1] * 1000

    def _ask_all(self, name: str) -> float:
        self._given |= {"sites": "NULL", "found": "NULL"}
        seen, took = self._ask(SEEN)
        *_, (read, _), (decided, _) = answers = [self._ask(sql) for sql in FRAME]
        self.cases = _unsigned({row[0] for row in seen}, read, decided)
        self._given["sites"] = ", ".join(str(row[0]) for row in seen) or "NULL"
        if name in OF_ONE_AREA:
            self._given["sites"] = ", ".join(str(row[0]) for row in self._ask(OF_AREA)[0])
        for sql in PAGES.get(name, ()):
            answers.append(self._ask(sql))
            self._given["found"] = ", ".join(str(row[0]) for row in answers[-1][0][:50]) or "NULL"
        return took + sum(seconds for _, seconds in answers)

    def _ask(self, sql: str) -> tuple[list, float]:
        lately = {"c": "checked_at", "r": "taken_at"}
        for name, column in lately.items():
            sql = sql.replace(f"{{{name}_lately}}", LATELY[connection.vendor].format(name, column))
        with connection.cursor() as cursor:
            begun, server = time.process_time(), server_seconds()
            cursor.execute(sql.format(**self._given))
            if connection.vendor == "sqlite":
                return cursor.fetchall(), time.process_time() - begun
            took = server_seconds() - server
            return cursor.fetchall(), took


def _of_the_database() -> dict[str, str]:
    vendor = connection.vendor
    window = {name: SHIFTED[vendor].format("z.checked_at", sign) for name, sign in (("earlier", "-"), ("later", "+"))}
    return {
        "kept": KEPT[vendor],
        "near_check": _NEAR.format("c.checked_at", **window),
        "near_event": _NEAR.format("e.at", **window),
        "check_since": _SINCE.format("c", "checks_checkvoid"),
        "event_since": _SINCE.format("e", "probes_eventvoid"),
    }


def _unsigned(seen: set[int], read: list[tuple], decided: list[tuple]) -> int:
    """Cases read at these sites of which some reading is not decided on, or no signature was put since all of them were."""
    left, mine, struck = Counter(), set(), {}
    for anchor, lowest, highest, count, struck_at in read:
        left[anchor] += count
        mine |= {anchor} if {lowest, highest} & seen else set()
        struck |= {anchor: struck_at} if struck_at else {}
    agreed = {}
    for anchor, count, last, signed_at, shaken in decided:
        left[anchor] -= 0 if shaken else count
        stands = signed_at and last <= signed_at and not (anchor in struck and struck[anchor] > signed_at)
        agreed[anchor] = agreed.get(anchor, True) and bool(stands)
    return sum(bool(left[anchor]) or not agreed.get(anchor, False) for anchor in mine)
