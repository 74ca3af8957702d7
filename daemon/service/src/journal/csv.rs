//! What happened as a table for other programs.

use super::read::Story;

/// A story as RFC 4180 has it, with a heading.
#[must_use]
pub fn csv(story: &Story) -> String {
    let mut out =
        String::from("seq,start,run,clock_us,wall,id,name,severity,says,advice,fields,unsure\r\n");
    for e in &story.events {
        let cells = [
            e.seq.to_string(),
            e.start.to_string(),
            e.run.map_or(String::new(), |n| n.to_string()),
            e.clock_us.to_string(),
            e.wall.clone(),
            e.id.to_string(),
            e.name.clone(),
            e.severity.clone(),
            e.says.clone(),
            e.advice.clone().unwrap_or_default(),
            e.fields.to_string(),
            u8::from(e.unsure).to_string(),
        ];
        let cells: Vec<_> = cells.iter().map(|c| quoted(c)).collect();
        out.push_str(&cells.join(","));
        out.push_str("\r\n");
    }
    out
}

fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}
