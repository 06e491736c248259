//! The coach's practice tasks for the page. In: the file of tasks. Out: what can be ticked.

use super::reply::Reply;
use super::shown::TaskShown;
use super::state::Page;

pub fn shown(_page: &Page, _chosen: &[String]) -> Reply<Vec<TaskShown>> {
    Ok(Vec::new())
}

pub fn text(_page: &Page) -> Reply<String> {
    Ok(String::new())
}
