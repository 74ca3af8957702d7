//! A pair of hands at the simulated table: lays sheets, makes things go wrong and sets them right.

use std::io::{self, BufRead as _, BufReader, Write as _};
use std::os::unix::net::UnixStream;
use std::path::Path;

use crate::harness::{
    FaultKind, FaultSpec, HandAct, Input, Plan, ToPanel, ToTable, Truth, WireFault,
};

/// Hands that wait for each answer.
#[derive(Debug)]
pub struct Hands {
    reader: BufReader<UnixStream>,
}

/// What the hands could not do.
#[derive(Debug, thiserror::Error)]
pub enum HandsError {
    /// The table does not answer.
    #[error("the simulated table does not answer: {0}")]
    Silent(#[from] io::Error),
    /// The table says why not.
    #[error("{0}")]
    Refused(String),
    /// It answered something else.
    #[error("the simulated table answered something else: {0}")]
    Unlike(String),
}

impl Hands {
    /// Goes to the table whose wires come out in `dir`.
    ///
    /// # Errors
    /// Nobody listens there.
    pub fn connect(dir: &Path) -> io::Result<Self> {
        let mut hands = Self {
            reader: BufReader::new(UnixStream::connect(dir.join("harness"))?),
        };
        hands.send(&ToTable::IAmHands)?;
        Ok(hands)
    }

    /// Lays another sheet on the table.
    ///
    /// # Errors
    /// The table does not answer, or refuses.
    pub fn lay(&mut self, plan: Plan) -> Result<(), HandsError> {
        self.order(&ToTable::Lay { plan })
    }

    /// Lets something go wrong.
    ///
    /// # Errors
    /// The table does not answer, or there is no such place.
    pub fn inject(&mut self, fault: FaultSpec) -> Result<(), HandsError> {
        self.order(&ToTable::Inject { fault })
    }

    /// Does what clears a fault in life; `None`: whatever is wrong now.
    ///
    /// # Errors
    /// The table does not answer, or refuses.
    pub fn remedy(&mut self, fault: Option<FaultKind>) -> Result<(), HandsError> {
        self.order(&ToTable::Remedy { fault })
    }

    /// Presses the hold button for a moment, then the emergency stop, and releases it.
    ///
    /// # Errors
    /// The table does not answer.
    pub fn try_buttons(&mut self) -> Result<(), HandsError> {
        self.order(&ToTable::TryButtons)
    }

    /// Nozzle and electrode are new.
    ///
    /// # Errors
    /// The table does not answer.
    pub fn new_parts(&mut self) -> Result<(), HandsError> {
        self.order(&ToTable::NewParts)
    }

    /// From now on something is wrong with the wires.
    ///
    /// # Errors
    /// The table does not answer.
    pub fn wire(&mut self, fault: WireFault) -> Result<(), HandsError> {
        self.order(&ToTable::Wire { fault })
    }

    /// Works one of the panel's inputs.
    ///
    /// # Errors
    /// The table does not answer.
    pub fn work(&mut self, input: Input, act: HandAct) -> Result<(), HandsError> {
        self.order(&ToTable::Work { input, act })
    }

    /// The ledger's own account.
    ///
    /// # Errors
    /// The table does not answer.
    pub fn truth(&mut self) -> Result<Truth, HandsError> {
        match self.ask(&ToTable::AskTruth)? {
            ToPanel::Truth { truth } => Ok(truth),
            other => Err(HandsError::Unlike(format!("{other:?}"))),
        }
    }

    fn order(&mut self, order: &ToTable) -> Result<(), HandsError> {
        match self.ask(order)? {
            ToPanel::Done { refused: None } => Ok(()),
            ToPanel::Done { refused: Some(why) } => Err(HandsError::Refused(why)),
            other => Err(HandsError::Unlike(format!("{other:?}"))),
        }
    }

    fn ask(&mut self, what: &ToTable) -> Result<ToPanel, HandsError> {
        self.send(what)?;
        let mut line = String::new();
        if self.reader.read_line(&mut line)? == 0 {
            return Err(io::Error::from(io::ErrorKind::UnexpectedEof).into());
        }
        serde_json::from_str(&line).map_err(|_| HandsError::Unlike(line))
    }

    fn send(&mut self, what: &ToTable) -> io::Result<()> {
        let mut line = serde_json::to_vec(what)?;
        line.push(b'\n');
        self.reader.get_mut().write_all(&line)
    }
}
