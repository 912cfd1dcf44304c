"""The pytest plugin: every rule pack is a test module, every claim about every model it names a test; so is every script.

`properties/interlocks.toml::two_knob_tractor::low-air-vents-trailer` passes if the claim comes out as the pack expects:
proven, unless `[pack.expected]` says otherwise. `properties/scripts/charging.toml::two_knob_tractor` passes if what the script
expects is seen in the nominal vehicle and in 12 drawn at random. This module lies outside the package and imports it inside hooks only,
so that a pytest run without rule packs does not pay for it.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from bandproof.deciding.one import Decider
    from bandproof.findings.finding import Finding
    from bandproof.model.arrangement import Arrangement
    from bandproof.properties.claim import NotApplicable, Property
    from bandproof.properties.packs import Pack

#: What tells a rule pack or a script from any other TOML file, even where it is broken.
_FORMAT = re.compile(r'^\s*format\s*=\s*["\']bandproof/1["\']', re.MULTILINE)
_TABLE = re.compile(r"^\s*\[(pack|script)\]", re.MULTILINE)

#: Vehicles drawn for a script.
_DRAWN = 12


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the option for the time limit."""
    group = parser.getgroup("bandproof", "rule packs")
    group.addoption(
        "--bandproof-time",
        metavar="SECONDS",
        type=float,
        default=300.0,
        help="time limit for each claim of a rule pack; 0 for none (default: 300)",
    )


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> PackFile | ScriptFile | None:
    """Take every TOML file that is a rule pack or a script."""
    if file_path.suffix != ".toml":
        return None
    kind = _kind_of(file_path)
    if kind == "pack":
        return PackFile.from_parent(parent, path=file_path)
    return ScriptFile.from_parent(parent, path=file_path) if kind == "script" else None


def _kind_of(path: Path) -> str | None:
    """Whether a file is a rule pack ("pack") or a script ("script"), even where it is broken."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        return None
    if not (_FORMAT.search(text) and ("pack" in text or "script" in text)):
        return None
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError):
        found = _TABLE.search(text)
        return found[1] if found else None
    return next((kind for kind in ("pack", "script") if kind in values), None)


class Benches:
    """The arrangements of one session: each read once, and encoded once with the claims of all packs that name it."""

    def __init__(self) -> None:
        self._arrangements: dict[Path, Arrangement] = {}
        self._claims: dict[Path, list[Property | NotApplicable]] = {}
        self._benches: dict[Path, Decider] = {}

    def arrangement(self, model: Path) -> Arrangement:
        """The arrangement in a file."""
        from bandproof.model.loader import load_arrangement  # noqa: PLC0415  (inside hooks only)

        key = model.resolve()
        if key not in self._arrangements:
            self._arrangements[key] = load_arrangement(model)
        return self._arrangements[key]

    def expect(self, model: Path, claims: Iterable[Property | NotApplicable]) -> None:
        """Announce claims, before the first of any is decided."""
        self._claims.setdefault(model.resolve(), []).extend(claims)

    def decide(self, model: Path, claim: Property | NotApplicable, seconds: float) -> Finding:
        """The finding of one announced claim."""
        from bandproof.deciding.cases import Case  # noqa: PLC0415  (inside hooks only)
        from bandproof.deciding.one import Decider  # noqa: PLC0415  (inside hooks only)
        from bandproof.findings.limits import Limits  # noqa: PLC0415  (inside hooks only)

        key = model.resolve()
        if key not in self._benches:
            self._benches[key] = Decider(Case(self.arrangement(model), tuple(self._claims[key])))
        return self._benches[key].decide(claim, Limits(seconds or None))


_BENCHES = pytest.StashKey[Benches]()


def _benches(node: pytest.Collector | pytest.Item) -> Benches:
    return node.session.stash.setdefault(_BENCHES, Benches())


class PackFile(pytest.File):
    """A rule pack; its children are the models it names."""

    def collect(self) -> Iterator[ModelNode]:
        """A node for each model, called after its stem, or its path where two have one; CollectError for a broken pack."""
        from bandproof.properties.packs import load_pack, model_files  # noqa: PLC0415  (inside hooks only)
        from bandproof.text.errors import InputError  # noqa: PLC0415  (inside hooks only)

        try:
            pack = load_pack(_shortest(self.path, self.config.invocation_params.dir))
            models = model_files(pack)
        except InputError as error:
            raise self.CollectError(str(error)) from None
        stems = Counter(model.stem for model in models)
        for model in models:
            name = model.stem if stems[model.stem] == 1 else model.as_posix()
            yield ModelNode.from_parent(self, name=name, pack=pack, model=model)


class ModelNode(pytest.Collector):
    """One model of a pack; its children are the claims."""

    def __init__(self, *, pack: Pack, model: Path, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._pack = pack
        self._model = model

    def collect(self) -> Iterator[ClaimItem]:
        """An item for each claim of the pack; CollectError for a broken model, or one that the pack does not fit."""
        from bandproof.properties.language import resolve_pack  # noqa: PLC0415  (inside hooks only)
        from bandproof.properties.packs import expected_verdicts  # noqa: PLC0415  (inside hooks only)
        from bandproof.text.errors import InputError  # noqa: PLC0415  (inside hooks only)

        benches = _benches(self)
        try:
            claims = resolve_pack(self._pack, benches.arrangement(self._model))
        except InputError as error:
            raise self.CollectError(str(error)) from None
        benches.expect(self._model, claims)
        expected = expected_verdicts(self._pack, self._model)
        for written, claim in zip(self._pack.claims, claims, strict=True):
            item = ClaimItem.from_parent(
                self, name=claim.id, claim=claim, model=self._model, expected=expected.get(claim.id, "proven")
            )
            item.line = written.place.document.span(written.place.path).line
            if self.config.pluginmanager.hasplugin("xdist"):
                item.add_marker(pytest.mark.xdist_group(self._model.as_posix()))
            yield item


class ClaimItem(pytest.Item):
    """One claim about one arrangement."""

    def __init__(self, *, claim: Property | NotApplicable, model: Path, expected: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._claim = claim
        self._model = model
        self.expected = expected
        self.line = 0

    def runtest(self) -> None:
        """Decide the claim; ClaimError for any but the expected verdict, except that what does not apply is skipped."""
        from bandproof.findings.outcome import Outcome, outcome  # noqa: PLC0415  (inside hooks only)
        from bandproof.findings.verdict import Verdict  # noqa: PLC0415  (inside hooks only)
        from bandproof.views.reasons_text import reason_text  # noqa: PLC0415  (inside hooks only)

        finding = _benches(self).decide(self._model, self._claim, self.config.getoption("--bandproof-time"))
        reason = reason_text(finding)
        for key, value in (
            ("verdict", finding.verdict),
            ("reason", reason),
            ("basis", finding.basis),
            ("steps", finding.steps),
            ("engine", finding.engine),
        ):
            if value not in ("", None):
                self.user_properties.append((key, str(value)))
        came = outcome(finding.verdict, Verdict(self.expected))
        if came is Outcome.AS_EXPECTED or finding.verdict == self.expected:
            return
        if came is Outcome.APART:
            pytest.skip(f"not applicable: {reason}")
        raise ClaimError(_report(finding, self.expected, self._model))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], *args: Any, **kwargs: Any) -> Any:
        """A claim's own words in place of a traceback."""
        if isinstance(excinfo.value, ClaimError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, *args, **kwargs)

    def reportinfo(self) -> tuple[Path, int, str]:
        """Where the claim stands in its pack."""
        return self.path, max(0, self.line - 1), f"{self._model.stem}: {self.name}"


class ScriptFile(pytest.File):
    """A script; its children are the models it names."""

    def collect(self) -> Iterator[ScriptItem]:
        """An item for each model; CollectError for a broken script."""
        from bandproof.properties.scripts import load_script, script_models  # noqa: PLC0415  (inside hooks only)
        from bandproof.text.errors import InputError  # noqa: PLC0415  (inside hooks only)

        path = _shortest(self.path, self.config.invocation_params.dir)
        try:
            models = script_models(load_script(path))
        except InputError as error:
            raise self.CollectError(str(error)) from None
        stems = Counter(model.stem for model in models)
        for model in models:
            name = model.stem if stems[model.stem] == 1 else model.as_posix()
            yield ScriptItem.from_parent(self, name=name, model=model, script=path)


class ScriptItem(pytest.Item):
    """One script done to one arrangement."""

    def __init__(self, *, model: Path, script: Path, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._model = model
        self._script = script

    def runtest(self) -> None:
        """Do it; ClaimError where something that is expected is not seen."""
        from bandproof.deciding.cases import RequestError  # noqa: PLC0415  (inside hooks only)
        from bandproof.deciding.procedures import load_procedure, perform  # noqa: PLC0415  (inside hooks only)
        from bandproof.text.errors import InputError  # noqa: PLC0415  (inside hooks only)
        from bandproof.text.input_faults import Faults  # noqa: PLC0415  (inside hooks only)
        from bandproof.views.performance_text import performance_text  # noqa: PLC0415  (inside hooks only)

        try:
            arrangement, procedure = load_procedure(self._model, self._script, Faults())
            done = perform(arrangement, procedure, count=_DRAWN, bands=False)
        except (InputError, RequestError) as error:
            raise ClaimError(str(error)) from None
        if not done.stands:
            raise ClaimError(performance_text(done))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], *args: Any, **kwargs: Any) -> Any:
        """What came of the script in place of a traceback."""
        if isinstance(excinfo.value, ClaimError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, *args, **kwargs)

    def reportinfo(self) -> tuple[Path, int, str]:
        """The script and what it is done to."""
        return self.path, 0, f"{self.path.stem}: {self.name}"


class ClaimError(Exception):
    """A claim came out otherwise than expected. The text is the report."""


def _report(finding: Finding, expected: str, model: Path) -> str:
    """What a person needs to see: the sentence, the verdict, why, and the story if there is one."""
    from bandproof.views.phrases import ending  # noqa: PLC0415  (inside hooks only)
    from bandproof.views.reasons_text import reason_text  # noqa: PLC0415  (inside hooks only)
    from bandproof.views.story_text import story_text  # noqa: PLC0415  (inside hooks only)

    wanted = "" if expected == "proven" else f", expected {expected}"
    lines = [f"{finding.verdict}{wanted}: {finding.says}", f"basis: {finding.basis}"]
    if reason := reason_text(finding):
        lines.append(f"reason: {reason}")
    if finding.caution:
        lines.append(f"caution: {finding.caution}")
    if finding.story is not None and finding.layout is not None:
        lines += ["", story_text(finding.layout, finding.story, ending=ending(finding)).rstrip(), ""]
        lines.append(f"drawn by: bandproof prove {model.as_posix()} --property {finding.property}")
    return "\n".join(lines)


def _shortest(path: Path, here: Path) -> Path:
    """The path as seen from `here`, where it lies below."""
    return path.relative_to(here) if path.is_relative_to(here) else path
