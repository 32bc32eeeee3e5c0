"""One blade ready to be pressed: shell, loads, contact points and what is read off its tip."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from crowlight.blade.arrays import Array
from crowlight.blade.cane import Cane
from crowlight.blade.geometry import BladeShape, MeshSize, blade_patch
from crowlight.blade.lip import Lip
from crowlight.blade.mesh import ShellMesh, shell_mesh
from crowlight.blade.patch import Patch
from crowlight.blade.shell import Shell, make_shell
from crowlight.blade.supports import edge_dofs, turning_springs
from crowlight.blade.thickness import ThicknessGrid

__all__ = ["Body", "make_body", "rows_at"]

TOUCHING_SHARE = 8.0 / 23.0  # the front part, all of whose inner face may touch
CLAMP = 2e5  # springs against turning at the thread [N]; about 1000 D / element length


@dataclass(frozen=True)
class Body:
    """One blade.

    Parameters
    ----------
    shape : BladeShape
        Rest shape of the inner face.
    grid : ThicknessGrid
        Thickness map.
    cane : Cane
        Elastic constants.
    size : MeshSize
        Mesh.
    shell : Shell
        Shell without the lip.
    spread : csr_array, shape (n_quadrature, grid.size)
        From grid values to thickness at the quadrature points.
    touching : csr_array, shape (n_touching, n_dof)
        Rows giving the z displacement of the points that may touch.
    touching_height : ndarray, shape (n_touching,)
        Their rest height over the plane between the blades [m].
    touching_eta : ndarray, shape (n_touching,)
        Where they lie along the blade, 0 at the thread to 1 at the tip.
    on_edge : ndarray of bool, shape (n_touching,)
        Which of them lie on the two side edges.
    push : ndarray, shape (n_dof,)
        Forces per unit of closing pressure [N/Pa]; ``push @ u`` is the volume swept inward.
    middle_row : ndarray, shape (n_dof,)
        ``middle_row @ u`` is the rise of the middle of the tip [m].
    tip_row : ndarray, shape (n_dof,)
        ``tip_row @ u`` is the change of the area under the tip [m²].
    right_row : ndarray, shape (n_dof,)
        The same for the right half (xi > 0) alone.
    tip_area, right_area : float
        Area between plane and inner face at the tip at rest, whole and right half [m²].
    """

    shape: BladeShape
    grid: ThicknessGrid
    cane: Cane
    size: MeshSize
    shell: Shell
    spread: csr_array
    touching: csr_array
    touching_height: Array
    touching_eta: Array
    on_edge: np.ndarray
    push: Array
    middle_row: Array
    tip_row: Array
    right_row: Array
    tip_area: float
    right_area: float

    @property
    def patch(self) -> Patch:
        """Spline patch of the inner face."""
        return self.shell.mesh.patch

    def with_grid(self, grid: ThicknessGrid) -> Body:
        """Return the blade with another thickness map on the same grid positions or new ones."""
        same = np.array_equal(grid.along, self.grid.along) and np.array_equal(
            grid.across, self.grid.across
        )
        spread = self.spread if same else spread_of(self.shell.mesh, self.shape, grid)
        h = (spread @ grid.values.ravel()).reshape(self.shell.mesh.area.shape)
        return replace(self, grid=grid, spread=spread, shell=self.shell.with_thickness(h))

    def with_cane(self, cane: Cane) -> Body:
        """Return the blade made of other cane."""
        shell = self.shell
        new = make_shell(
            shell.mesh,
            cane.plane_stress(),
            shell.thickness,
            density=cane.density,
            held=shell.band.held,
            offset=shell.layers.offset,
            springs=shell.springs,
        )
        return replace(self, cane=cane, shell=new)

    def lip_springs(self, lip: Lip) -> tuple[Array, Array]:
        """Stiffness of a lip in banded storage, and its pressing forces [N], shape (n_dof,)."""
        mesh = self.shell.mesh
        from_tip = self.shape.free_length - mesh.frames.position[..., 1]
        share = lip.fading(from_tip) * mesh.area
        normal = mesh.frames.a3[..., None] * mesh.shape[:, :, None, :]
        flat = normal.reshape(*share.shape, -1)
        weighted = np.sqrt(lip.stiffness * share)[..., None] * flat
        stored = self.shell.band.gather(np.swapaxes(weighted, 1, 2) @ weighted, on_held=0.0)
        total = float(share.sum())
        pull = np.zeros_like(share) if total == 0 else -lip.force / total * share
        forces = mesh.scatter(np.einsum("eg,egca->eac", pull, normal))
        forces[self.shell.band.held] = 0.0
        return stored, forces


def rows_at(patch: Patch, xi: Array, eta: Array, direction: int = 2) -> Array:
    """Rows that give one displacement component at points, shape (n_points, n_dof)."""
    weights = patch.weights(xi, eta)
    rows = np.zeros((len(weights), 3 * patch.n_control))
    rows[:, direction::3] = weights
    return rows


def spread_of(mesh: ShellMesh, shape: BladeShape, grid: ThicknessGrid) -> csr_array:
    """Matrix from grid values to the quadrature points of a mesh."""
    return grid.spread(mesh.xi, mesh.eta * shape.free_length)


def tip_points(patch: Patch) -> tuple[Array, Array]:
    """Quadrature points across the tip and their weights; the middle is an element end."""
    t, w = np.polynomial.legendre.leggauss(4)
    ends = np.union1d(patch.across.breaks, [0.0])
    half = np.diff(ends)[:, None] / 2
    return (((ends[:-1] + ends[1:])[:, None] / 2 + half * t).ravel(), (half * w).ravel())


def touching_points(patch: Patch) -> tuple[Array, Array]:
    """Parameters of the points that may touch: both edges, and all of the front part."""
    xi, eta = np.meshgrid(patch.across.greville(), patch.along.greville())
    edge = np.abs(xi) > 1 - 1e-12
    may = (eta > 0) & (edge | (eta >= 1 - TOUCHING_SHARE))
    return xi[may], eta[may]


def make_body(
    shape: BladeShape, grid: ThicknessGrid, cane: Cane, size: MeshSize | None = None
) -> Body:
    """Build one blade."""
    patch = blade_patch(shape, size)
    mesh = shell_mesh(patch)
    spread = spread_of(mesh, shape, grid)
    shell = make_shell(
        mesh,
        cane.plane_stress(),
        (spread @ grid.values.ravel()).reshape(mesh.area.shape),
        density=cane.density,
        held=edge_dofs(patch, "thread"),
        springs=turning_springs(mesh, ["thread"], CLAMP),
    )
    xi, eta = touching_points(patch)
    rows = rows_at(patch, xi, eta)
    rows[:, shell.band.held] = 0.0
    touching = csr_array(rows)
    height = patch.frames(xi, eta).position[:, 2]
    t, w = tip_points(patch)
    tip = patch.frames(t, np.ones_like(t))
    run = w * tip.a1[:, 0]
    tip_rows = rows_at(patch, t, np.ones_like(t))
    return Body(
        shape=shape,
        grid=grid,
        cane=cane,
        size=size or MeshSize(),
        shell=shell,
        spread=spread,
        touching=touching,
        touching_height=height,
        touching_eta=eta,
        on_edge=np.abs(xi) > 1 - 1e-12,
        push=shell.pressure_forces(),
        middle_row=rows_at(patch, np.zeros(1), np.ones(1))[0],
        tip_row=run @ tip_rows,
        right_row=(run * (t > 0)) @ tip_rows,
        tip_area=float(run @ tip.position[:, 2]),
        right_area=float((run * (t > 0)) @ tip.position[:, 2]),
    )
