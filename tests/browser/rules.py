"""The machine-checkable part of WCAG 2.2 level AA, asked of a page: the rules of axe-core (tags wcag2a to wcag22aa), which name
the success criterion each checks.

Most of its time would go into the contrast of every line of every list. Contrast follows from how an element is drawn, so of
those that are drawn alike one is measured: wherever it is, on whichever page, at whichever width.
"""

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SIZES = ["target-size", "scrollable-region-focusable"]  # besides contrast, what hangs on where things are laid out
# Gives the rule and the mark-up of each element that breaks it, and what was measured. What axe could not make out (something
# lies over it) or passes over (it is disabled here) counts as measured nowhere. Of a page that was looked at before, at another
# width, only what that can change is asked: sizes, and all rules of what shows at this width alone.
BROKEN = """async ({tags, sizes, known}) => {
    const CONTRAST = "color-contrast", MARK = "data-measured";
    const shown = [...document.querySelectorAll("*")].filter((element) => element.checkVisibility());
    const root = document.documentElement, before = root.shown;
    const anew = before && shown.filter((each) => !before.has(each) && before.has(each.parentElement));
    root.shown = new Set(shown);

    const behind = new Map([[null, ""]]), looks = new Map(), measured = new Set(known);
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

    // Contrast is asked with the rest, of these alone: axe takes long to find out anew what lies over what.
    axe.configure({ rules: [{ id: CONTRAST, selector: `[${MARK}]` }] });
    for (const element of left) element.setAttribute(MARK, "");
    const found = [], judged = [];
    const ask = async (context, type, values, without) => {
        const rules = Object.fromEntries(without.map((id) => [id, { enabled: false }]));
        const told = { selectors: false, elementRef: true, resultTypes: ["violations", "passes"] };
        const options = { runOnly: { type, values }, rules, preload: { assets: ["media"] }, ...told };
        const { violations, passes } = await axe.run(context, options);
        found.push(...violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => [id, html.slice(0, 120)])));
        const contrast = [...violations, ...passes].filter(({ id }) => id === CONTRAST);
        judged.push(...contrast.flatMap(({ nodes }) => nodes.map((node) => node.element)));
    };
    const ofSizes = left.length ? [...sizes, CONTRAST] : sizes;
    await (before ? ask(document, "rule", ofSizes, []) : ask(document, "tag", tags, left.length ? [] : [CONTRAST]));
    if (anew?.length) await ask({ include: anew }, "tag", tags, [...sizes, CONTRAST]);
    for (const element of left) element.removeAttribute(MARK);
    for (const element of judged) measured.add(looks.get(element));
    measured.delete(undefined);
    return [found, [...measured]];
}"""


class Rules:
    """Knows what was measured on the pages before."""

    def __init__(self):
        self.measured: list[str] = []

    def broken_on(self, page: Page) -> list[tuple[str, str]]:
        """The rule and the mark-up of each element that breaks it."""
        if page.evaluate("!self.axe"):
            page.add_init_script(AXE_SCRIPT)  # on the pages after it, too
            page.evaluate(AXE_SCRIPT)
        broken, self.measured = page.evaluate(BROKEN, {"tags": TAGS, "sizes": SIZES, "known": self.measured})
        return [(rule, html) for rule, html in broken]
