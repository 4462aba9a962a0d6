"""The invented business itself: areas, sites, people, limits and probes, made by the same actions as real ones."""

from dataclasses import dataclass, field
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import make_password

from compliance.appliances.models import Appliance, OutOfUse
from compliance.limits import actions as limits
from compliance.limits.models import Limit, RuleSet
from compliance.plans.calendar import DAY, Calendar, instant, local_day
from compliance.probes import actions as probes
from compliance.probes.models import Probe
from sites import actions as sites
from sites.data import NewPerson
from sites.models import Business, Person, Role, Site

from .scenario import ProbeStory, Scenario, SiteStory

PASSWORD = "ice-and-water-0"
SIGN_INS = {
    "manager": "manager@quillwood.example",
    "supervisor": "supervisor@quillwood.example",
    "head": "head@quillwood.example",
    "reader": "reader@quillwood.example",
}


@dataclass(slots=True)
class Setting:
    """What has been made so far, by name. It all happens on days and at times of the local clock, whatever the hour now."""

    scenario: Scenario
    begins: datetime
    now: datetime
    calendars: dict[str, Calendar] = field(default_factory=dict)
    business: Business | None = None
    head: Person | None = None
    sites: dict[str, Site] = field(default_factory=dict)
    stories: dict[str, SiteStory] = field(default_factory=dict)
    managers: dict[str, Person] = field(default_factory=dict)
    cooks: dict[str, Person] = field(default_factory=dict)
    supervisors: dict[str, Person] = field(default_factory=dict)
    limits: dict[tuple[str, str], Limit] = field(default_factory=dict)
    appliances: dict[tuple[str, str], Appliance] = field(default_factory=dict)
    out_of_use: list[OutOfUse] = field(default_factory=list)
    probes: dict[str, Probe] = field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.scenario.time_zone)

    @property
    def days(self) -> int:
        return (self.today - local_day(self.begins, self.zone)).days

    @property
    def today(self) -> date:
        return local_day(self.now, self.zone)

    def supervisor_of(self, site: str) -> Person:
        return self.supervisors[self.stories[site].area]

    def works(self, site: str, day: date) -> bool:
        return self.calendars[site].is_open(day)

    def moment(self, site: str, days_ago: int, at: time) -> datetime:
        """A time of day so many days ago, or on the last day before on which the site worked."""
        day = self.today - DAY * days_ago
        while not self.works(site, day):
            day -= DAY
        return instant(day, at, self.zone)

    def next_morning(self, site: str, after: datetime, at: time) -> datetime:
        """A time of day on the next day on which the site works."""
        return instant(self.calendars[site].next_open(local_day(after, self.zone) + DAY), at, self.zone)


# The rules that a kitchen of this business works under, and which probe serves them.
RULES = {
    "store": ("chill-store", "frozen-storage", "delivery-chilled"),
    "cook": ("cook-75c",),
    "hot": ("hot-holding", "cook-75c"),
    "spare": ("chill-store", "cook-75c", "hot-holding"),
}


def build_setting(scenario: Scenario, begins: datetime, now: datetime) -> Setting:
    """Who works where, under which limits."""
    setting = Setting(scenario, begins, now)
    setting.business = sites.add_business(by=None, name=scenario.business)
    for name, supervisor in scenario.supervisors.items():
        _add_area(setting, name, supervisor)
    _add_head(setting)
    for story in scenario.sites:
        _add_site(setting, story)
    _add_reader(setting)
    # Hashed once: each time takes longer than a week of the demo. That they have the same one is no secret.
    Person.objects.filter(email__in=SIGN_INS.values()).update(password=make_password(PASSWORD))
    return setting


def _add_area(setting: Setting, name: str, supervisor: str) -> None:
    area = sites.add_area(by=None, business=setting.business, name=name)
    email = SIGN_INS["supervisor"] if not setting.supervisors else _email(supervisor)
    setting.supervisors[name] = _add_person(supervisor, Role.SUPERVISOR, email, by=None, area=area)


def _add_head(setting: Setting) -> None:
    """Who supervises every area, and so may say what holds for the whole business."""
    first, *others = (boss.memberships.get().area for boss in setting.supervisors.values())
    setting.head = _add_person(setting.scenario.head, Role.SUPERVISOR, SIGN_INS["head"], by=None, area=first)
    for area in others:
        sites.grant(by=None, person=setting.head, role=Role.SUPERVISOR, area=area)


def _add_site(setting: Setting, story: SiteStory) -> None:
    boss = setting.supervisors[story.area]
    area = boss.memberships.get().area
    site = sites.add_site(
        by=boss,
        area=area,
        name=story.name,
        address=story.address,
        altitude_m=story.altitude_m,
        time_zone=setting.scenario.time_zone,
        country=setting.scenario.country,
        subdivision=setting.scenario.subdivision,
        closed_on_holidays=not story.serves_daily,
    )
    email = SIGN_INS["manager"] if not setting.managers else _email(story.manager)
    setting.sites[story.name], setting.stories[story.name] = site, story
    setting.managers[story.name] = _add_person(story.manager, Role.MANAGER, email, by=boss, site=site)
    setting.cooks[story.name] = _add_person(story.cook, Role.COOK, _email(story.cook), by=boss, site=site)
    rules = {rule.code: rule for rule in RuleSet.objects.get(code=setting.scenario.rule_set).rules.all()}
    for code in sorted({code for codes in RULES.values() for code in codes}):
        setting.limits[story.name, code] = limits.adopt(
            by=setting.managers[story.name], site=site, rule=rules[code], effective_from=setting.begins
        )


def _add_reader(setting: Setting) -> None:
    boss = next(iter(setting.supervisors.values()))
    area = boss.memberships.get().area
    _add_person(setting.scenario.reader, Role.READER, SIGN_INS["reader"], by=boss, area=area)


def add_probe(setting: Setting, story: ProbeStory, starts_at: datetime) -> Probe:
    """A probe comes into use."""
    chosen = [setting.limits[story.site, code] for code in RULES[story.use]]
    setting.probes[story.code] = probe = probes.register(
        by=setting.managers[story.site],
        site=setting.sites[story.site],
        code=story.code,
        limits=chosen,
        starts_at=starts_at,
        description=story.description,
        sensor=story.sensor,
        resolution_milli=story.resolution_milli,
        stem_diameter_mm=story.stem_diameter_mm,
    )
    return probe


def _add_person(name: str, role: int, email: str, *, by, **where) -> Person:
    initials = "".join(word[0] for word in name.replace("-", " ").split()).upper()
    return sites.add_person(
        by=by,
        role=role,
        data=NewPerson(email=email, name=name, initials=initials),
        **where,
    )


def _email(name: str) -> str:
    return f"{name.lower().replace(' ', '.').replace('-', '')}@quillwood.example"
