//! Parse, call, print the error chain, exit code.

use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;

use clap::Parser;
use clap::error::ErrorKind;
use hubgauge::cli::hand_out::SheetArgs;
use hubgauge::cli::{Cli, Command, MeasureArgs, OpenArgs};
use hubgauge::desk;
use hubgauge::error::{Error, chain};
use hubgauge::results::{self, SwingResult};

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(usage) if !usage.use_stderr() => usage.exit(),
        Err(usage) if usage.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
            return fail(&lacking(&usage.to_string()), 2);
        }
        Err(usage) => return fail(&one_line(&usage.to_string()), 2),
    };
    let text = match cli.command.unwrap_or_else(|| Command::Open(OpenArgs::default())) {
        Command::Open(args) => desk::open_page(&args).map(|()| String::new()),
        Command::Measure(args) => measure(*args),
        Command::Explain(args) => explain(&args.result),
        Command::Compare(args) => desk::compare(&args),
        Command::Chart(args) => desk::chart(&args),
        Command::Sheet(args) => sheet(&args),
        Command::Tasks(args) => desk::tasks(&args),
        Command::Pupil(args) => desk::pupil(args),
        Command::Lesson(args) => desk::lesson(args),
        Command::Library(args) => desk::library(&args),
        Command::Batch(args) => desk::batch(&args, io::stderr().is_terminal()),
    };
    match text {
        // A reader that closes the pipe early (`| head`) is no failure of ours.
        Ok(text) => match io::stdout().write_all(text.as_bytes()) {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => fail(&error.to_string(), 1),
            _ => ExitCode::SUCCESS,
        },
        Err(error) => fail(&chain(&error), error.exit_code()),
    }
}

fn measure(args: MeasureArgs) -> Result<String, Error> {
    let (json, store) = (args.json, args.store.clone());
    let options = args.options(io::stderr().is_terminal())?;
    let result = desk::measure(options, &store)?;
    if json { Ok(result.to_json()?) } else { Ok(results::table(&result)) }
}

fn explain(path: &Path) -> Result<String, Error> {
    let text = std::fs::read_to_string(path).map_err(|source| Error::read(path, source))?;
    Ok(results::explain(&SwingResult::from_json(&text)?))
}

fn sheet(args: &SheetArgs) -> Result<String, Error> {
    let (text, warnings) = desk::sheet(args)?;
    for warning in warnings {
        eprintln!("hubgauge: note: {warning}");
    }
    Ok(text)
}

/// The first paragraph of clap's message, which says what is wrong.
fn one_line(usage: &str) -> String {
    let paragraph = usage.split("\n\n").next().unwrap_or(usage);
    let words: Vec<&str> = paragraph.split_whitespace().collect();
    words.join(" ").trim_start_matches("error: ").to_owned()
}

/// Which commands there are, from the help that clap shows where one is missing.
fn lacking(help: &str) -> String {
    let listed = help.lines().skip_while(|line| *line != "Commands:").skip(1);
    let listed = listed.take_while(|line| line.starts_with("  "));
    let names = listed.filter_map(|line| line.split_whitespace().next());
    let names: Vec<&str> = names.filter(|name| *name != "help").collect();
    format!("a command is missing, one of {}; --help says more", names.join(", "))
}

fn fail(message: &str, code: u8) -> ExitCode {
    eprintln!("hubgauge: {}", message.replace('\n', " "));
    ExitCode::from(code)
}
