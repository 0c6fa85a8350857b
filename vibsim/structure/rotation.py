"""Finite rotations: quaternions (w, x, y, z), rotation matrices and rotation vectors."""

from __future__ import annotations

import math

import numpy as np

from vibsim.jit import inlined

NO_TURN = np.eye(3)


@inlined
def matrix_entries(w, x, y, z):
    """Rotation matrix of quaternion (w, x, y, z) of any length, as nine entries row by row."""
    s = 2.0 / (w * w + x * x + y * y + z * z)
    return (
        1.0 - s * (y * y + z * z),
        s * (x * y - w * z),
        s * (x * z + w * y),
        s * (x * y + w * z),
        1.0 - s * (x * x + z * z),
        s * (y * z - w * x),
        s * (x * z - w * y),
        s * (y * z + w * x),
        1.0 - s * (x * x + y * y),
    )


@inlined
def turned(rx, ry, rz, qw, qx, qy, qz):
    """Quaternion q turned further by a rotation vector (rad) in vehicle axes."""
    angle = math.sqrt(rx * rx + ry * ry + rz * rz)
    half = 0.5 * math.sin(0.5 * angle) / (0.5 * angle) if angle > 1e-12 else 0.5
    pw, px, py, pz = math.cos(0.5 * angle), half * rx, half * ry, half * rz
    return (
        pw * qw - px * qx - py * qy - pz * qz,
        pw * qx + px * qw + py * qz - pz * qy,
        pw * qy - px * qz + py * qw + pz * qx,
        pw * qz + px * qy - py * qx + pz * qw,
    )


def matrix_of(q: np.ndarray) -> np.ndarray:
    """Rotation matrix (3, 3) of a quaternion (4)."""
    w, x, y, z = (float(entry) for entry in q)
    return np.array(matrix_entries(w, x, y, z)).reshape(3, 3)


def quaternion_of_vector(vector: np.ndarray) -> np.ndarray:
    """Unit quaternion (4) of a rotation vector (3), rad."""
    x, y, z = (0.5 * float(entry) for entry in vector)
    angle = math.sqrt(x * x + y * y + z * z)
    share = math.sin(angle) / angle if angle > 0.0 else 1.0
    return np.array([math.cos(angle), share * x, share * y, share * z])


def multiply(p: np.ndarray, q: np.ndarray) -> np.ndarray:
    """Quaternion product p·q: rotate by q, then by p; last axis 4, leading axes broadcast."""
    pw, px, py, pz = np.moveaxis(np.asarray(p, dtype=float), -1, 0)
    qw, qx, qy, qz = np.moveaxis(np.asarray(q, dtype=float), -1, 0)
    return np.stack(
        [
            pw * qw - px * qx - py * qy - pz * qz,
            pw * qx + px * qw + py * qz - pz * qy,
            pw * qy - px * qz + py * qw + pz * qx,
            pw * qz + px * qy - py * qx + pz * qw,
        ],
        axis=-1,
    )


def conjugate(q: np.ndarray) -> np.ndarray:
    """The inverse rotation of unit quaternions (..., 4)."""
    return np.asarray(q, dtype=float) * np.array([1.0, -1.0, -1.0, -1.0])


def quaternion_of_matrix(matrix: np.ndarray) -> np.ndarray:
    """Unit quaternion (4) of a rotation matrix (3, 3): the eigenvector of a symmetric matrix (Bar-Itzhack 2000)."""
    m = np.asarray(matrix, dtype=float)
    if np.array_equal(m, NO_TURN):
        return np.array([1.0, 0.0, 0.0, 0.0])
    k = np.empty((4, 4))
    k[0, 0] = np.trace(m)
    k[0, 1:] = k[1:, 0] = m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]
    k[1:, 1:] = m + m.T - np.trace(m) * np.eye(3)
    q = np.linalg.eigh(k)[1][:, -1]
    return q if q[0] >= 0.0 else -q


def rotation_vectors(q: np.ndarray) -> np.ndarray:
    """Rotation vectors (..., 3), rad, of quaternions (..., 4) of any length; the shorter way round."""
    w, x, y, z = np.moveaxis(np.asarray(q, dtype=float), -1, 0)
    sine = np.sqrt(x * x + y * y + z * z)
    cosine = np.abs(w)
    turned = sine > 1e-12 * cosine
    factor = 2.0 * np.arctan2(sine, cosine) / np.where(turned, sine, 1.0)
    factor = np.where(turned, factor, 2.0 / np.where(turned, 1.0, cosine)) * np.where(w < 0.0, -1.0, 1.0)
    return np.stack([factor * x, factor * y, factor * z], axis=-1)


def turns_about_fixed_axes(angles: np.ndarray) -> np.ndarray:
    """Rotation matrix (3, 3) of turns (rad) about fixed X, then Y, then Z."""
    (cx, cy, cz), (sx, sy, sz) = np.cos(angles), np.sin(angles)
    about_x = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    about_y = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    about_z = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    return about_z @ about_y @ about_x
