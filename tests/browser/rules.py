"""The machine-checkable part of WCAG 2.2 level AA, asked of a page: the rules of axe-core (tags wcag2a to wcag22aa), which name
the success criterion each checks.

Most of its time would go into the contrast of every line of every list. Contrast follows from how an element is drawn, so of
those that are drawn alike one is measured: wherever it is, on whichever page, at whichever width. What stands around each page
is asked about once for each width, as long as it is written the same.
"""

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SIZES = ["target-size", "scrollable-region-focusable"]  # besides contrast, what hangs on where things are laid out
AROUND = ".top, .foot"
# Gives the rule and the mark-up of each element that breaks it, and what was measured. What axe could not make out (something
# lies over it) or passes over (it is disabled here) counts as measured nowhere. Of a page that was looked at before, at another
# width, only what that can change is asked: sizes, and all rules of what shows at this width alone.
BROKEN = """async ({tags, sizes, around, known, contrastOnly}) => {
    const CONTRAST = "color-contrast", MARK = "data-measured";
    const shown = [...document.querySelectorAll("*")].filter((element) => element.checkVisibility());
    const root = document.documentElement, before = root.shown;
    root.shown = new Set(shown);

    const behind = new Map([[null, ""]]), looks = new Map(), measured = new Set(known.measured);
    const drawnOn = (element) => {
        if (!behind.has(element)) {
            const { position, backgroundColor, backgroundImage, opacity, filter, mixBlendMode } = getComputedStyle(element);
            const place = position === "static" ? "" : position + element.className;
            const own = [backgroundColor, backgroundImage, opacity, filter, mixBlendMode, place].join();
            const nothing = own === "rgba(0, 0, 0, 0),none,1,none,normal,";
            behind.set(element, drawnOn(element.parentElement) + (nothing ? "" : `;${own}`));
        }
        return behind.get(element);
    };
    const drawn = (box) => box.width > 1 && box.height > 1 && box.bottom > 0; // or it is there for the ear alone
    const written = (element) => [...element.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
    for (const element of shown) {
        if (!(written(element) || element.matches("input, select, textarea"))) continue;
        if (!drawn(element.getBoundingClientRect())) continue;
        const { color, fontSize, fontWeight, textShadow } = getComputedStyle(element), size = parseFloat(fontSize);
        const off = Boolean(element.closest(":disabled, [aria-disabled=true]") ?? element.closest("label")?.control?.disabled);
        const look = [off, color, size >= 24, size >= 18.6, fontWeight, textShadow, drawnOn(element)].join();
        if (!measured.has(look)) looks.set(element, look);
    }
    const left = [...new Map([...looks].map(([element, look]) => [look, element])).values()];

    // Which page is open changes how its link is drawn, and a token nothing.
    const wording = (part) => part.outerHTML.replace(/ aria-current="page"|(?<=csrfmiddlewaretoken" value=)"[^"]*"/g, "");
    const parts = new Map([...document.querySelectorAll(around)].map((part) => [part, `${innerWidth} ${wording(part)}`]));
    const asked = new Set(known.asked), passed = [...parts.keys()].filter((part) => asked.has(parts.get(part)));
    const exclude = passed.filter((part) => !left.some((element) => part.contains(element)));
    const inside = (element) => exclude.some((part) => part.contains(element));
    const fresh = before && shown.filter((each) => !before.has(each) && before.has(each.parentElement) && !inside(each));

    // Contrast is asked with the rest, of these alone: axe takes long to find out anew what lies over what.
    axe.configure({ noHtml: true, rules: [{ id: CONTRAST, selector: `[${MARK}]` }] });
    for (const element of left) element.setAttribute(MARK, "");
    const found = [], judged = [];
    const ask = async (include, type, values, without) => {
        const rules = Object.fromEntries(without.map((id) => [id, { enabled: false }]));
        const results = { selectors: false, elementRef: true, resultTypes: ["violations", "passes"] };
        const options = { runOnly: { type, values }, rules, preload: { assets: ["media"] }, ...results };
        const { violations, passes } = await axe.run({ include, exclude }, options);
        found.push(...violations.flatMap(({ id, nodes }) => nodes.map(({ element }) => [id, element])));
        const contrast = [...violations, ...passes].filter(({ id }) => id === CONTRAST);
        judged.push(...contrast.flatMap(({ nodes }) => nodes.map((node) => node.element)));
    };
    const ofSizes = [...(contrastOnly ? [] : sizes), ...(left.length ? [CONTRAST] : [])];
    if (!before && !contrastOnly) await ask([document], "tag", tags, left.length ? [] : [CONTRAST]);
    else if (ofSizes.length) await ask([document], "rule", ofSizes, []);
    if (fresh?.length && !contrastOnly) await ask(fresh, "tag", tags, [...sizes, CONTRAST]);
    for (const element of left) element.removeAttribute(MARK);
    for (const element of judged) measured.add(looks.get(element));
    measured.delete(undefined);
    if (contrastOnly) parts.clear();
    for (const [part, text] of parts) if (!found.some(([, element]) => part.contains(element))) asked.add(text);
    const broken = found.map(([rule, element]) => [rule, element.outerHTML.slice(0, 120)]);
    return [broken, { measured: [...measured], asked: [...asked] }];
}"""


class Rules:
    """Knows what was asked of the pages before."""

    def __init__(self):
        self.known: dict[str, list[str]] = {"measured": [], "asked": []}

    def broken_on(self, page: Page, *, contrast_only: bool = False) -> list[tuple[str, str]]:
        """The rule and the mark-up of each element that breaks it."""
        if page.evaluate("!self.axe"):
            page.add_init_script(AXE_SCRIPT)  # on the pages after it, too
            page.evaluate(AXE_SCRIPT)
        told = {"tags": TAGS, "sizes": SIZES, "around": AROUND, "known": self.known}
        broken, self.known = page.evaluate(BROKEN, told | {"contrastOnly": contrast_only})
        return [(rule, html) for rule, html in broken]
