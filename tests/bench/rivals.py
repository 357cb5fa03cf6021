"""The lowest ten modes by Stillbed, by SciPy's eigsh and by CHOLMOD with ARPACK, on the same matrices.

One run, one thread, processor time (so that a busy machine does not count), the mean of several repeats where
they are short; prints seconds, ratios, peak memory, the largest relative difference of the eigenvalues, and
the versions and kernels used.

    cargo bench --bench eigen --no-run          # prints the path of the program
    python tests/bench/rivals.py PROGRAM [NAME ...]

Needs numpy, scipy, threadpoolctl and scikit-sparse (0.4.16). Each rival runs in a process of its own, so
that its peak memory is its own.
"""

import os
import sys

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "RAYON_NUM_THREADS"):
    os.environ.setdefault(variable, "1")

import json
import resource
import subprocess
import tempfile
import time

COUNT = 10
REPEATS = {"lattice_60": 200, "lattice_216": 100, "lattice_600": 50, "lattice_1k": 20, "lattice_10k": 3}
TOO_LONG_FOR_EIGSH = {"lattice_100k", "block_150k"}
NAMES = [
    "lattice_60", "lattice_216", "lattice_600", "lattice_1k", "lattice_10k", "lattice_100k",
    "flat_100k", "block_30k", "block_150k",
]


def read(path):
    import numpy as np
    import scipy.sparse as sp

    data = open(path, "rb").read()
    at = 0

    def take(kind):
        nonlocal at
        length = int(np.frombuffer(data, "<u8", 1, at)[0])
        values = np.frombuffer(data, kind, length, at + 8)
        at += 8 + 8 * length
        return values

    matrices = []
    for _ in range(2):
        starts, rows, values = take("<i8"), take("<i8"), take("<f8")
        n = len(starts) - 1
        matrices.append(sp.csc_matrix((values, rows.astype("i4"), starts.astype("i4")), shape=(n, n)))
    return matrices


def lapack(k, m):
    """LAPACK's driver for the lowest ten of a dense pair."""
    import scipy.linalg as la

    return la.eigh(k, m, subset_by_index=[0, COUNT - 1], driver="gvx")[0]


def eigsh(k, m):
    from scipy.sparse.linalg import eigsh

    return eigsh(k, COUNT, m, sigma=0.0)[0]


def cholmod(k, m):
    from scipy.sparse.linalg import LinearOperator, eigsh
    from sksparse.cholmod import cholesky

    factor = cholesky(k, ordering_method="metis")
    inverse = LinearOperator(k.shape, matvec=factor)
    return eigsh(k, COUNT, m, sigma=0.0, OPinv=inverse)[0]


def run_rival(which, path, repeats):
    k, m = read(path)
    solve = {"lapack": lapack, "eigsh": eigsh, "cholmod": cholmod}[which]
    if which == "lapack":
        k, m = k.toarray(), m.toarray()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.process_time()
    for _ in range(repeats):
        values = solve(k, m)
    mean = (time.process_time() - start) / repeats
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps({"s": mean, "kb": peak, "before_kb": before, "w": sorted(map(float, values))}))


def rival(which, path, repeats):
    command = [sys.executable, __file__, "--rival", which, path, str(repeats)]
    done = subprocess.run(command, capture_output=True, text=True)
    return json.loads(done.stdout) if done.returncode == 0 else None


def ours(program, folder, name, repeats):
    environment = dict(os.environ, STILLBED_MATRICES=folder)
    done = subprocess.run(
        [program], input=f"{name} {repeats}\n", capture_output=True, text=True, env=environment, check=True
    )
    seconds, peak, *values = done.stdout.split()
    return {"s": float(seconds), "kb": int(peak), "w": [float(v) for v in values]}


def versions():
    import numpy
    import scipy
    from threadpoolctl import threadpool_info

    import scipy.linalg  # noqa: F401  loads its library

    print("numpy", numpy.__version__, "scipy", scipy.__version__)
    try:
        import sksparse
        from sksparse.cholmod import cholesky  # noqa: F401

        print("scikit-sparse", sksparse.__version__)
    except ImportError:
        print("scikit-sparse is absent")
    for info in threadpool_info():
        if info["user_api"] == "blas":
            print(info["internal_api"], info["version"], info["architecture"], "threads", info["num_threads"],
                  os.path.basename(info["filepath"]))


def main(program, names):
    versions()
    print(f"{'structure':13} {'freedoms':>8} {'ours s':>9} {'eigsh s':>9} {'x':>6} {'cholmod s':>9} {'x':>6}"
          f" {'lapack s':>9} {'x':>6} {'MB ours':>8} {'eigsh':>7} {'cholmod':>8} {'differ':>8}")
    sizes = []
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            repeats = REPEATS.get(name, 1)
            us = ours(program, folder, name, repeats)
            path = os.path.join(folder, name)
            k, _ = read(path)
            n = k.shape[0]
            skip = name in TOO_LONG_FOR_EIGSH and "STILLBED_LONG" not in os.environ
            theirs = {
                "eigsh": None if skip else rival("eigsh", path, repeats),
                "cholmod": rival("cholmod", path, repeats),
                "lapack": rival("lapack", path, repeats) if n <= 600 else None,
            }
            differ = 0.0
            cells = []
            for which in ("eigsh", "cholmod", "lapack"):
                found = theirs[which]
                cells.append(f"{found['s']:9.4f} {found['s'] / us['s']:6.2f}" if found else f"{'-':>9} {'-':>6}")
                if found:
                    differ = max([differ] + [abs(a - b) / abs(b) for a, b in zip(us["w"], found["w"])])
            memory = [f"{t['kb'] / 1024:.0f}" if t else "-" for t in (theirs["eigsh"], theirs["cholmod"])]
            print(f"{name:13} {n:8} {us['s']:9.4f} {' '.join(cells)} {us['kb'] / 1024:8.0f}"
                  f" {memory[0]:>7} {memory[1]:>8} {differ:8.1e}", flush=True)
            os.remove(path)
            if name in ("lattice_1k", "lattice_10k", "lattice_100k"):
                sizes.append((n, us["s"]))
    if len(sizes) > 1:
        import numpy as np

        exponent, _ = np.polyfit(*np.log(np.array(sizes)).T, 1)
        print(f"ours over the lattices grows with freedoms to the power {exponent:.2f}")


if __name__ == "__main__":
    if sys.argv[1] == "--rival":
        run_rival(sys.argv[2], sys.argv[3], int(sys.argv[4]))
    else:
        main(sys.argv[1], sys.argv[2:] or NAMES)
