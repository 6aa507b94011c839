"""Way-in planning against general reference algorithms and textbook facts.

networkx (general-purpose graph library): descendants, transitive closure, topological sorting. Optimum of small
orders by the dynamic programme over subsets of Held and Karp (1962, "A dynamic programming approach to sequencing
problems", J. SIAM 10(1), recurrence quoted from memory), one removal at a time and with no short cut of the
planner's. Number of merged orders of two chains: the binomial coefficient, common knowledge.
"""

import math
import random

import networkx as nx
import pytest

from benchguide.procedure.planner_bound import tool_bound
from benchguide.procedure.planner_graph import FLIP, TOOL_CHANGE, Problem, Removal, make_graph
from benchguide.procedure.planner_search import best_order


def random_problem(seed: int, count: int) -> Problem:
    dice = random.Random(seed)
    removals = [
        Removal(
            dice.choice([None, 0, 1, 2, 3]),
            int(dice.random() < 0.3),
            tuple({dice.randrange(number) for _ in range(dice.randint(0, 2))}) if number else (),
        )
        for number in range(count)
    ]
    return Problem(removals)


def held_karp(problem: Problem) -> int:
    """Least cost over all orders: states (set that is off, tool in hand, face up), one removal a step."""
    removals = problem.removals
    before = [sum(1 << b for b in set(removal.before)) for removal in removals]
    states: dict[tuple[int, int | None, int | None], int] = {(0, None, None): 0}
    for _ in removals:
        following: dict[tuple[int, int | None, int | None], int] = {}
        for (off, tool, face), cost in states.items():
            for number, removal in enumerate(removals):
                if off >> number & 1 or before[number] & ~off:
                    continue
                price = cost + FLIP * (face is not None and face != removal.face)
                if removal.tool is not None:
                    price += TOOL_CHANGE * (tool is not None and tool != removal.tool)
                key = (off | 1 << number, tool if removal.tool is None else removal.tool, removal.face)
                following[key] = min(price, following.get(key, price))
        states = following
    return min(states.values())


@pytest.mark.parametrize("seed", range(40))
def test_orders_cost_what_dynamic_programming_says(seed):
    problem = random_problem(seed, 9)
    found = best_order(problem)
    assert found.exact
    assert found.cost == held_karp(problem)


@pytest.mark.parametrize("seed", range(20))
def test_orders_are_topological_orders(seed):
    problem = random_problem(seed, 60)
    graph = nx.DiGraph((b, n) for n, removal in enumerate(problem.removals) for b in removal.before)
    graph.add_nodes_from(range(60))
    place = {number: at for at, number in enumerate(best_order(problem).removals)}
    assert len(place) == 60
    assert all(place[one] < place[two] for one, two in nx.transitive_closure_dag(graph).edges)


@pytest.mark.parametrize(("word", "other"), [("abcb", "bdcab"), ("abab", "baba"), ("abc", "cba")])
def test_two_chains_are_a_shortest_common_supersequence(word, other):
    """Two chains of tools are merged best as a shortest common supersequence: m + n - LCS runs (textbook fact:
    Cormen et al., Introduction to Algorithms, section on the longest common subsequence; from memory)."""
    table = [[0] * (len(other) + 1) for _ in range(len(word) + 1)]
    for i, one in enumerate(word, 1):
        for j, two in enumerate(other, 1):
            same = table[i - 1][j - 1] + 1
            table[i][j] = same if one == two else max(table[i - 1][j], table[i][j - 1])
    runs = len(word) + len(other) - table[-1][-1]
    removals = [Removal(ord(c), 0, (n - 1,) if n else ()) for n, c in enumerate(word)]
    start = len(word)
    removals += [Removal(ord(c), 0, (start + n - 1,) if n else ()) for n, c in enumerate(other)]
    problem = Problem(removals)
    assert best_order(problem).tool_changes == runs - 1
    assert tool_bound(make_graph(problem), 10_000) == runs - 1


def test_two_free_chains_have_as_many_orders_as_the_binomial_says():
    """Guards the reference itself: networkx lists every order of two chains exactly once."""
    graph = nx.DiGraph([(0, 1), (1, 2), (10, 11), (11, 12), (12, 13)])
    orders = list(nx.all_topological_sorts(graph))
    assert len(orders) == len({tuple(order) for order in orders}) == math.comb(7, 3)
