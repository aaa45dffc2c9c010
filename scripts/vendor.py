"""The work of scripts/vendor: files of npm packages, held to the hashes in the manifests."""

import hashlib
import re
import subprocess
import sys
import tarfile
import tempfile
import tomllib
from pathlib import Path


def packed(package: str, version: str, folder: Path) -> tarfile.TarFile:
    """The package of that version, fetched."""
    run = ["npm", "pack", "--silent", "--pack-destination", str(folder), f"{package}@{version}"]
    name = subprocess.run(run, check=True, capture_output=True, text=True).stdout.split()[-1]
    return tarfile.open(folder / name)


def vendor(manifest: Path, accept: bool) -> list[str]:
    """Fetches every file of a manifest; gives those whose hash is not the one written there."""
    text, differ = manifest.read_text(encoding="utf-8"), []
    for file in tomllib.loads(text)["file"]:
        with tempfile.TemporaryDirectory() as folder:
            found = packed(file["package"], file["version"], Path(folder)).extractfile(
                f"package/{file['from']}"
            )
            body = found.read() if found is not None else b""
        found_hash = hashlib.sha256(body).hexdigest()
        if found_hash != file["sha256"]:
            differ.append(f"{manifest.parent / file['name']}: {found_hash}")
            if not accept:
                continue
            entry = rf'(name = "{re.escape(file["name"])}".*?sha256 = )"[0-9a-f]*"'
            text = re.sub(entry, rf'\1"{found_hash}"', text, count=1, flags=re.DOTALL)
        (manifest.parent / file["name"]).write_bytes(body)
    manifest.write_text(text, encoding="utf-8")
    return differ


def main() -> None:
    """Remakes all, and ends with 1 when a file is not what its manifest says."""
    accept = "--accept" in sys.argv
    manifests = [Path(word) for word in sys.argv[1:] if not word.startswith("--")]
    differ = [line for manifest in manifests for line in vendor(manifest, accept)]
    print("\n".join(differ) or "All files are what the manifests say.")
    sys.exit(1 if differ and not accept else 0)


if __name__ == "__main__":
    main()
