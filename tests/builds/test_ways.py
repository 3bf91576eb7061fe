"""Mixtures among alternatives and requirements: which way a line goes, and in how many rows."""

from decimal import Decimal

from builds_kit import NOW, Shop, amount, build, line, part

from service.builds.all_costs import price_all
from service.builds.compare import proposals
from service.builds.cost import price_build
from service.builds.series import cost_series
from service.builds.view import Stock
from service.flows.publish import as_chosen
from service.model.builds import Alternative
from service.model.catalogue import Equivalent
from service.model.prices import Offer, PriceNow, Spell

D = Decimal

# A mixed 100:42 by mass (a common ratio of laminating resins); B sold at 21.00 for 420 g,
# A at 50.00 for 1 kg: 142 g mixed cost 100 g x 0.05 + 42 g x 0.05 = 5.00 + 2.10 = 7.10
MIXED = part("mixed", "g", mix=(D(100), D(42)), mix_of=("a", "b"), spec={"use": "casting"})
READY = part("ready", "g", spec={"use": "casting"})


def shop(ready: str = "10.00") -> Shop:
    found = Shop(MIXED, READY, part("a", "g"), part("b", "g"))
    found.sell("a", "1 kg", "50.00")
    found.sell("b", "420 g", "21.00")
    found.sell("ready", "100 g", ready)
    return found


OR = line(
    None,
    "1 piece",
    choose=(Alternative("mixed", amount("142 g")), Alternative("ready", amount("142 g"))),
)
NEED = line(None, "142 g", need={"use": "casting"})


def test_a_mixture_among_alternatives_is_split_where_it_is_cheapest() -> None:
    for asked in (OR, NEED):
        cost = price_build(build(asked), shop().view())  # ready: 142 x 0.10 = 14.20
        assert [(x.part, x.share) for x in cost.lines] == [("a", D("5.00")), ("b", D("2.10"))]
        assert cost.totals.complete
        cheap = price_build(build(asked), shop("4.00").view())  # 142 x 0.04 = 5.68
        assert [(x.part, x.share) for x in cheap.lines] == [("ready", D("5.68"))]


def test_a_mixture_lacking_a_component_is_not_chosen() -> None:
    book = Shop(MIXED, READY, part("a", "g"), part("b", "g"))
    book.sell("a", "1 kg", "1.00")
    book.sell("ready", "100 g", "10.00")
    for asked in (OR, NEED):
        cost = price_build(build(asked), book.view())
        assert [x.part for x in cost.lines] == ["ready"]


def test_a_mixture_that_is_there_goes_first_only_with_both_components() -> None:
    both = {"a": Stock(D(100)), "b": Stock(D(42))}
    cost = price_build(build(NEED), shop("4.00").view(on_hand=both))
    assert [(x.part, x.to_spend) for x in cost.lines] == [("a", D(0)), ("b", D(0))]
    one = {"a": Stock(D(100))}
    cost = price_build(build(NEED), shop("4.00").view(on_hand=one))
    assert [x.part for x in cost.lines] == ["ready"]


def test_hours_of_a_split_line_count_once() -> None:
    worked = line(None, "142 g", need={"use": "casting"}, hours=D(2))
    cost = price_build(build(worked), shop().view())
    assert [text for text in cost.warnings if text.startswith("2 h")]


def test_a_components_price_moves_a_build_that_names_alternatives() -> None:
    costs = price_all([build(OR)], shop().view())
    assert costs.change(PriceNow(1, Offer(D("150.00"), "EUR"), NOW)) == ["curlew"]
    # 100 g x 0.15 + 2.10 = 17.10, so that 14.20 of the ready one is cheaper
    assert costs.totals()["curlew"].share == 1420


def test_the_series_of_alternatives_ends_in_their_cost() -> None:
    view = shop().view()
    spells = [Spell(k, now.offer, NOW, NOW) for k, now in view.prices.items()]
    points = cost_series(build(OR), view, spells, [NOW])
    assert points[-1].share == price_build(build(OR), view).totals.share == D("7.10")


def test_a_proposal_is_for_its_own_line_behind_a_mixture() -> None:
    """The mixture shows as two lines, the lamp behind it as the third: 5.00 for 3.00 saves 2.00."""
    book = shop()
    for key, price in (("lamp", "5.00"), ("lamp-b", "3.00")):
        same = (Equivalent("lamp-b", "smaller"),) if key == "lamp" else ()
        book.parts[key] = part(key, equivalents=same)
        book.sell(key, "1 piece", price)
    found = proposals(build(OR, line("lamp", "1 piece")), book.view())
    assert [(p.line, p.part, p.instead_of, p.share) for p in found] == [
        (1, "lamp-b", "lamp", D("2.00"))
    ]


def test_lines_of_a_published_build_keep_their_parts_and_amounts() -> None:
    """Tied to what was chosen: the two components, 100 g and 42 g, and the lamp behind them."""
    book = shop()
    book.parts["lamp"] = part("lamp")
    book.sell("lamp", "1 piece", "5.00")
    view, made = book.view(), build(OR, line("lamp", "1 piece"), hours=D(1))
    fixed, tied = as_chosen(made, price_build(made, view), view)
    again = price_build(fixed, tied)
    assert [(x.part, x.share) for x in again.lines] == [
        ("a", D("5.00")),
        ("b", D("2.10")),
        ("lamp", D("5.00")),
    ]
