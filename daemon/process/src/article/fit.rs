//! Weighted least squares, and what the rows of a fit cannot tell apart.

use nalgebra::{DMatrix, DVector};

/// A direction whose singular value is smaller than this part of the largest is not seen by the rows
/// (columns scaled to length 1).
const UNSEEN: f64 = 1e-6;
/// An unknown that lies in the seen directions but for this is determined.
const DETERMINED: f64 = 1e-8;

/// One equation: coefficients of the unknowns, what they should add up to, and its standard deviation.
pub struct Equation {
    /// One for each unknown.
    pub coefficients: Vec<f64>,
    /// Observed.
    pub value: f64,
    /// Standard deviation of the observed value, above 0.
    pub sigma: f64,
}

/// The least-squares solution. An unknown that the equations do not determine has no value.
pub struct Fit {
    /// Values of the unknowns.
    pub values: Vec<Option<f64>>,
    /// Standard errors from the stated deviations: roots of the diagonal of (A'WA)^-1.
    pub errors: Vec<Option<f64>>,
    /// Weighted sum of squares of what is left over, r'Wr.
    pub chi2: f64,
    /// Equations less the unknowns that they determine.
    pub freedoms: usize,
    /// Observed less fitted, of each equation.
    pub left_over: Vec<f64>,
    /// Groups of unknowns of which only combinations are determined.
    pub confused: Vec<Vec<usize>>,
    /// Unknowns that no equation has.
    pub unmeasured: Vec<usize>,
}

/// Fits. `None`: the singular values were not found (numbers that are not finite).
pub fn fit(unknowns: usize, equations: &[Equation]) -> Option<Fit> {
    let n = equations.len();
    let at = |i: usize, j: usize| {
        let e = equations.get(i)?;
        Some(e.coefficients.get(j)? / e.sigma)
    };
    let mut a = DMatrix::from_fn(n, unknowns, |i, j| at(i, j).unwrap_or(0.0));
    let y = DVector::from_iterator(n, equations.iter().map(|e| e.value / e.sigma));
    if n == 0 || unknowns == 0 || !a.iter().chain(y.iter()).all(|v| v.is_finite()) {
        return None;
    }
    // Millimetres per millimetre and millimetres stand side by side: columns of one length compare.
    let lengths: Vec<f64> = a.column_iter().map(|c| c.norm()).collect();
    for (mut column, length) in a.column_iter_mut().zip(&lengths) {
        if *length > 0.0 {
            column /= *length;
        }
    }
    let svd = a.clone().try_svd(true, true, f64::EPSILON, 10_000)?;
    let (u, v_t) = (svd.u?, svd.v_t?);
    let largest = svd.singular_values.max();
    let mut x = DVector::zeros(unknowns);
    let mut covariance = DMatrix::zeros(unknowns, unknowns);
    let mut unseen = DMatrix::identity(unknowns, unknowns);
    let mut rank = 0;
    for (k, s) in svd.singular_values.iter().enumerate() {
        if *s <= UNSEEN * largest {
            continue;
        }
        rank += 1;
        let v = v_t.row(k).transpose();
        x += &v * (u.column(k).dot(&y) / s);
        let square = &v * v.transpose();
        covariance += &square / (s * s);
        unseen -= square;
    }
    let left = &y - &a * &x;
    let known = |j: usize| unseen[(j, j)] < DETERMINED && lengths[j] > 0.0;
    let scaled = |j: usize, value: f64| known(j).then(|| value / lengths[j]);
    Some(Fit {
        values: (0..unknowns).map(|j| scaled(j, x[j])).collect(),
        errors: (0..unknowns)
            .map(|j| scaled(j, covariance[(j, j)].max(0.0).sqrt()))
            .collect(),
        chi2: left.norm_squared(),
        freedoms: n.saturating_sub(rank),
        left_over: left
            .iter()
            .zip(equations)
            .map(|(r, e)| r * e.sigma)
            .collect(),
        confused: groups(&unseen, &lengths),
        unmeasured: (0..unknowns).filter(|j| lengths[*j] == 0.0).collect(),
    })
}

/// Unknowns that share a direction which the equations do not see.
fn groups(unseen: &DMatrix<f64>, lengths: &[f64]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (j, length) in lengths.iter().enumerate() {
        if unseen[(j, j)] < DETERMINED || *length == 0.0 {
            continue;
        }
        // A direction that two groups share joins them.
        let shares = |g: &Vec<usize>| g.iter().any(|i| unseen[(*i, j)].abs() > DETERMINED);
        let (with, mut rest): (Vec<_>, Vec<_>) = groups.into_iter().partition(shares);
        let mut joined: Vec<usize> = with.into_iter().flatten().collect();
        joined.push(j);
        joined.sort_unstable();
        rest.push(joined);
        groups = rest;
    }
    groups
}
