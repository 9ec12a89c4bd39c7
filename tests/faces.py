"""A contract for import-linter: of each package, others use what its face names, and no more.

The face of a package is `__all__` in its `__init__`: names that stand there, and modules that may be entered. Of
import-linter's own contracts, 'protected' wants the list written down a second time, beside the packages.
"""

import ast
from pathlib import Path

from grimp import ImportGraph
from importlinter import Contract, ContractCheck, fields, output


def named_by(face: Path) -> set[str]:
    """Return what `__all__` names in a package's `__init__`."""
    for node in ast.parse(face.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and [ast.unparse(target) for target in node.targets] == ["__all__"]:
            return set(ast.literal_eval(node.value))
    return set()


class FaceContract(Contract):
    """Holds that modules outside a package import the package itself, or a module that its face names."""

    packages = fields.ListField(subfield=fields.StringField())

    def check(self, graph: ImportGraph, verbose: bool) -> ContractCheck:
        trespasses = []
        for package in self.packages:
            doors = named_by(Path(package.replace(".", "/")) / "__init__.py")
            for module in graph.find_descendants(package):
                if module[len(package) + 1 :].split(".")[0] in doors:
                    continue
                for importer in graph.find_modules_that_directly_import(module):
                    if importer != "etholog" and not f"{importer}.".startswith(f"{package}."):
                        trespasses.append(f"{importer} imports {module}, which the face of {package} does not name")
        return ContractCheck(kept=not trespasses, metadata={"trespasses": sorted(trespasses)})

    def render_broken_contract(self, check: ContractCheck) -> None:
        for trespass in check.metadata["trespasses"]:
            output.print_error(trespass)
