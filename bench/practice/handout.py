"""A lesson on one printed page: what to notice, three questions, room for notes."""

from __future__ import annotations

from slipbench.figures.pages import escaped, fill
from slipbench.figures.pages import part as figure_part
from slipbench.ground.caution import CAUTION
from slipbench.practice.debrief_page import part
from slipbench.practice.lessons import Lesson
from slipbench.scenario import Scenario

YARD, MPH = 0.9144, 0.44704


def handout_page(lesson: Lesson) -> str:
    """Return a lesson as a page for paper, answers at its foot."""
    questions = "".join(
        f"<li>{escaped(one.question)}<ol type='a'>"
        + "".join(f"<li>{escaped(answer)}</li>" for answer in one.answers)
        + "</ol></li>"
        for one in lesson.quiz
    )
    answers = " ".join(
        f"{i}{'abcdef'[one.right - 1]}: {one.why}" for i, one in enumerate(lesson.quiz, start=1)
    )
    practice = (
        f"<p><b>Common practice, no source:</b> {escaped(lesson.common_practice)} Local rules"
        " decide.</p>"
        if lesson.common_practice
        else ""
    )
    return fill(
        part("handout.html"),
        {
            "style": figure_part("page.css") + part("handout.css"),
            "title": escaped(f"Lesson: {lesson.sentence}"),
            "sentence": escaped(lesson.sentence),
            "rail": escaped(lesson.rail),
            "runs": "".join(f"<li>{escaped(run_words(s))}</li>" for s in lesson.scenarios),
            "goal": escaped(lesson.goal),
            "notice": "".join(f"<li>{escaped(line)}</li>" for line in lesson.notice),
            "practice": practice,
            "questions": questions,
            "answers": escaped(answers),
            "command": escaped(f"slipbench practice {lesson.name}"),
            "caution": escaped(CAUTION),
        },
    )


def run_words(scenario: Scenario) -> str:
    """Return in a line what is driven: title, train, marker."""
    marker = scenario.driver.stopping_point
    ahead = "" if marker is None else f"; marker {marker / YARD:.0f} yards ({marker:.0f} m) ahead"
    return f"{scenario.title}; {scenario.train.name}{ahead}"


def lesson_text(lesson: Lesson) -> str:
    """Return a lesson for a terminal."""
    lines = [lesson.sentence, "", f"rail    {lesson.rail}", f"goal    {lesson.goal}"]
    lines += [f"run     {run_words(scenario)}" for scenario in lesson.scenarios]
    lines += [f"notice  {line}" for line in lesson.notice]
    if lesson.common_practice:
        lines.append(f"trade   {lesson.common_practice} (common practice, no source)")
    for i, one in enumerate(lesson.quiz, start=1):
        lines += ["", f"{i}. {one.question}"]
        lines += [
            f"   {letter}. {answer}" for letter, answer in zip("abcdef", one.answers, strict=False)
        ]
        lines.append(f"   answer: {'abcdef'[one.right - 1]}. {one.why}")
    return "\n".join(lines)
